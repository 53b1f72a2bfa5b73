# A drawing of each recording as a file of its own, by some batches: any label may change what is detected in it.
rule drawings:
    input:
        recordings=rules.tabulate.output.typed,
        events=rules.measure.output.typed_events,
        bouts=rules.measure.output.typed_bouts,
        signals=of_part(rules.derive.output.signals),
        labels=lambda w: label_files(batch=w.part),
    output:
        made=f"{STAGES}/drawings/{{part}}.json",
    log:
        f"{RESULTS}/logs/drawings/{{part}}.log",
    group:
        submitted_with("drawings")
    resources:
        mem_mb=memory_of("drawings"),
        runtime=time_of("drawings"),
    params:
        code=code_hash("strainstudy.stages.drawings"),
        recordings=lambda w: sheet_rows(w.part, label_tasks=BODY_TASKS),
        reference_rater=REFERENCE_RATER,
        results=RESULTS,
    script:
        "../scripts/drawings.py"
