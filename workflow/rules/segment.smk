# Signals cut into rest and gait, contacts and strides, knee bends and swallow candidates.
rule segment:
    input:
        signals=rules.calibrate.output.signals,
        condition_notes=rules.condition.output.notes,
        calibrate_notes=rules.calibrate.output.notes,
    output:
        events=f"{STAGES}/segment/{{batch}}.events.parquet",
        states=f"{STAGES}/segment/{{batch}}.states.parquet",
        strides=f"{STAGES}/segment/{{batch}}.strides.parquet",
        knee_bends=f"{STAGES}/segment/{{batch}}.knee_bends.parquet",
        candidates=f"{STAGES}/segment/{{batch}}.candidates.parquet",
        notes=f"{STAGES}/segment/{{batch}}.notes.json",
    log:
        f"{RESULTS}/logs/segment/{{batch}}.log",
    group:
        submitted_with("batch")
    resources:
        mem_mb=memory_of("segment"),
        runtime=time_of("segment"),
    params:
        code=code_hash("strainstudy.stages.segment"),
        recordings=lambda w: sheet_rows(w.batch),
        settings=settings_of("gait", "bends", "swallow", "calibrate"),
    script:
        "../scripts/segment.py"
