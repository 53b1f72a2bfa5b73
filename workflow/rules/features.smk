# Feature rows for the classifier: gait windows with their timing, shape and amplitude features.
rule features:
    input:
        signals=rules.calibrate.output.signals,
        strides=rules.segment.output.strides,
        notes=rules.segment.output.notes,
    output:
        windows=f"{STAGES}/features/{{batch}}.windows.parquet",
    log:
        f"{RESULTS}/logs/features/{{batch}}.log",
    group:
        submitted_with("batch")
    resources:
        mem_mb=memory_of("features"),
        runtime=time_of("features"),
    params:
        code=code_hash("strainstudy.stages.features"),
        recordings=lambda w: sheet_rows(w.batch),
        settings=settings_of("features"),
    script:
        "../scripts/features.py"
