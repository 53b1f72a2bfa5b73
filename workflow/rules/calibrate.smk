# Holds at known angles, or a reference beside the sensor, to one angle map per sensor and session; the maps applied, with
# the answer of the sensor undone as its bench measured it.
rule calibrate:
    input:
        traces=rules.condition.output.traces,
        condition_notes=rules.condition.output.notes,
        labels=lambda w: label_files(tasks=["bend"], batch=w.batch),
        answers=lambda w: answer_files(w.batch),
    output:
        signals=f"{RESULTS}/signals/{{batch}}.parquet",
        maps=f"{STAGES}/calibrate/{{batch}}.maps.json",
        calibrations=f"{STAGES}/calibrate/{{batch}}.calibrations.json",
        notes=f"{STAGES}/calibrate/{{batch}}.notes.json",
    log:
        f"{RESULTS}/logs/calibrate/{{batch}}.log",
    group:
        submitted_with("batch")
    resources:
        mem_mb=memory_of("calibrate"),
        runtime=time_of("calibrate"),
    params:
        code=code_hash("strainstudy.stages.calibrate"),
        recordings=lambda w: sheet_rows(w.batch, label_tasks=["bend"], reference=True),
        sensors=lambda w: sensor_rows(w.batch),
        settings=settings_of("calibrate", "condition"),
        reference_rater=REFERENCE_RATER,
    script:
        "../scripts/calibrate.py"
