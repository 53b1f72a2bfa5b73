# Volts to resistance and its relative change; despiked, hum taken out where there is any, low-passed, drift kept apart.
rule condition:
    input:
        traces=rules.ingest.output.traces,
    output:
        traces=f"{STAGES}/condition/{{batch}}.parquet",
        notes=f"{STAGES}/condition/{{batch}}.notes.json",
    log:
        f"{RESULTS}/logs/condition/{{batch}}.log",
    group:
        submitted_with("batch")
    resources:
        mem_mb=memory_of("condition"),
        runtime=time_of("condition"),
    params:
        code=code_hash("strainstudy.stages.condition"),
        recordings=lambda w: sheet_rows(w.batch),
        sensors=lambda w: sensor_rows(w.batch),
        settings=settings_of("condition"),
    script:
        "../scripts/condition.py"
