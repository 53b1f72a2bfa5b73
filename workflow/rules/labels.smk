# The label files of one rater as one table: what another rater labels trains nothing, and the engine, which remembers for
# each file that a stage writes all that it read, has one file to remember and not a thousand.
rule labels:
    input:
        labels=lambda w: label_files(rater=w.rater),
    output:
        table=f"{STAGES}/labels/{{rater}}.parquet",
    log:
        f"{RESULTS}/logs/labels/{{rater}}.log",
    priority: IN_LINE["study"]
    resources:
        mem_mb=memory_of("labels"),
        runtime=time_of("labels"),
    params:
        code=code_hash("strainstudy.stages.gather"),
        rows=lambda w: study_rows(raters=(w.rater,))["recordings"],
    script:
        "../scripts/labels.py"
