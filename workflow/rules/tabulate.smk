# Result tables that no label changes.
rule tabulate:
    input:
        unpack(lambda w: dict(rules.characterise.output.items()) if BENCH in BATCHES else {}),
        quality=of_all_batches(rules.ingest.output.quality),
        calibrations=of_all_batches(rules.derive.output.calibrations),
        calibrate_notes=of_all_batches(rules.derive.output.calibrate_notes),
        condition_notes=of_all_batches(rules.derive.output.condition_notes),
        segment_notes=of_all_batches(rules.derive.output.segment_notes),
        knee_bends=of_all_batches(rules.derive.output.knee_bends),
    output:
        faults=f"{RESULTS}/tables/faults.tsv",
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
    priority: IN_LINE["study"]
    resources:
        mem_mb=memory_of("tabulate"),
        runtime=time_of("tabulate"),
    params:
        code=code_hash("strainstudy.stages.tabulate"),
        rows=study_rows(),
        sensors=lambda w: all_sensor_rows(),
        settings=settings_of("health"),
        results=RESULTS,
    script:
        "../scripts/tabulate.py"
