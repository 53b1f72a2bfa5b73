# Despiked, hum taken out where there is any, low-passed, drift kept apart; the angle map applied, with the answer of the
# sensor undone as its bench measured it.
rule condition:
    input:
        traces=rules.calibrate.output.traces,
        maps=rules.calibrate.output.maps,
        calibration_notes=rules.calibrate.output.notes,
        answers=lambda w: answer_files(w.batch),
    output:
        signals=f"{RESULTS}/signals/{{batch}}.parquet",
        notes=f"{STAGES}/condition/{{batch}}.notes.json",
    log:
        f"{RESULTS}/logs/condition/{{batch}}.log",
    resources:
        mem_mb=4000,
        runtime=60,
    params:
        code=code_hash("strainstudy.stages.condition"),
        recordings=lambda w: sheet_rows(w.batch),
        sensors=lambda w: sensor_rows(w.batch),
        settings=settings_of("condition", "calibrate"),
    script:
        "../scripts/condition.py"
