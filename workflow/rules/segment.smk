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
    resources:
        mem_mb=4000,
        runtime=60,
    params:
        code=code_hash("strainstudy.stages.segment"),
        recordings=lambda w: sheet_rows(w.batch),
        settings=settings_of("gait", "bends", "swallow", "calibrate"),
    script:
        "../scripts/segment.py"


# Bench recordings of a sensor, together: gauge factor, hysteresis, creep, response time, noise.
if BENCH in BATCHES:

    rule characterise:
        input:
            traces=f"{STAGES}/condition/{BENCH}.parquet",
        output:
            sensors=f"{STAGES}/characterise/sensors.parquet",
            curves=f"{STAGES}/characterise/curves.parquet",
            loops=f"{STAGES}/characterise/loops.parquet",
            cycles=f"{STAGES}/characterise/cycles.parquet",
            steps=f"{STAGES}/characterise/steps.parquet",
            uses=f"{STAGES}/characterise/uses.parquet",
            answers=f"{STAGES}/characterise/answers.json",
        log:
            f"{RESULTS}/logs/characterise.log",
        resources:
            mem_mb=4000,
            runtime=60,
        params:
            code=code_hash("strainstudy.stages.characterise"),
            recordings=sheet_rows(BENCH),
            sensors=sensor_rows(BENCH),
            settings=settings_of("bench"),
        script:
            "../scripts/characterise.py"


# Result tables that no label changes.
rule tabulate:
    input:
        unpack(lambda w: dict(rules.characterise.output.items()) if BENCH in BATCHES else {}),
        quality=of_all_batches(rules.ingest.output.quality),
        calibrations=of_all_batches(rules.calibrate.output.calibrations),
        calibrate_notes=of_all_batches(rules.calibrate.output.notes),
        condition_notes=of_all_batches(rules.condition.output.notes),
        knee_bends=of_all_batches(rules.segment.output.knee_bends),
    output:
        recordings=f"{RESULTS}/tables/recordings.tsv",
        calibrations=f"{RESULTS}/tables/calibrations.tsv",
        knee_bends=f"{RESULTS}/tables/knee_bends.tsv",
        sensors=f"{RESULTS}/tables/sensors.tsv",
        curves=f"{RESULTS}/tables/sensor_curves.tsv",
        loops=f"{RESULTS}/tables/sensor_loops.tsv",
        cycles=f"{RESULTS}/tables/bench_cycles.tsv",
        steps=f"{RESULTS}/tables/bench_steps.tsv",
        health=f"{RESULTS}/tables/sensor_health.tsv",
        typed=f"{STAGES}/tabulate/recordings.parquet",
    log:
        f"{RESULTS}/logs/tabulate.log",
    resources:
        mem_mb=4000,
        runtime=60,
    params:
        code=code_hash("strainstudy.stages.tabulate"),
        rows=study_rows(),
        settings=settings_of("health"),
        results=RESULTS,
    script:
        "../scripts/tabulate.py"
