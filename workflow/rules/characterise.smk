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
        priority: IN_LINE["bench"]
        resources:
            mem_mb=memory_of("characterise"),
            runtime=time_of("characterise"),
        params:
            code=code_hash("strainstudy.stages.characterise"),
            recordings=lambda w: sheet_rows(BENCH),
            sensors=lambda w: sensor_rows(BENCH),
            settings=settings_of("bench"),
        script:
            "../scripts/characterise.py"
