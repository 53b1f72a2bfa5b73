# Figures of the whole study, by what they are drawn from: on all cores, and only those again whose tables changed.
from strainstudy.report.kinds import figure_kinds, is_of_sensors, tables_of

FIGURE_KINDS = figure_kinds(STUDY.recordings.values())


wildcard_constraints:
    kind="|".join(FIGURE_KINDS),


rule figures:
    input:
        tables=lambda w: [f"{RESULTS}/{table.path}" for table in tables_of(w.kind)],
        signals=lambda w: [f"{RESULTS}/signals/{BENCH}.parquet"] if is_of_sensors(w.kind) else [],
        labels=lambda w: label_files(tasks=HELD_TASKS) if w.kind == "sensors" else [],
    output:
        made=f"{STAGES}/figures/{{kind}}.json",
    log:
        f"{RESULTS}/logs/figures/{{kind}}.log",
    # before the pages of people, for which nothing but the last job waits
    priority: IN_LINE["figures"]
    resources:
        mem_mb=memory_of("figures"),
        runtime=time_of("figures"),
    params:
        code=code_hash("strainstudy.stages.figures"),
        names=lambda w: FIGURE_KINDS[w.kind],
        recordings=lambda w: held_rows() if w.kind == "sensors" else [],
        reference_rater=REFERENCE_RATER,
        results=RESULTS,
    script:
        "../scripts/figures.py"
