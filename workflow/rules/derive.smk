# All that follows of a batch's traces, by four stages that always run one after the other, so in one job: volts to
# response, filtered, drift kept apart; angle maps and the angles they give, with the answer of the sensor undone as its
# bench measured it; rest and gait, contacts and strides, knee bends, swallow candidates; windows for the classifier.
rule derive:
    input:
        traces=rules.ingest.output.traces,
        labels=lambda w: label_files(tasks=["bend"], batch=w.batch),
        answers=lambda w: answer_files(w.batch),
    output:
        conditioned=f"{STAGES}/condition/{{batch}}.parquet",
        condition_notes=f"{STAGES}/condition/{{batch}}.notes.json",
        signals=f"{RESULTS}/signals/{{batch}}.parquet",
        maps=f"{STAGES}/calibrate/{{batch}}.maps.json",
        calibrations=f"{STAGES}/calibrate/{{batch}}.calibrations.json",
        calibrate_notes=f"{STAGES}/calibrate/{{batch}}.notes.json",
        events=f"{STAGES}/segment/{{batch}}.events.parquet",
        states=f"{STAGES}/segment/{{batch}}.states.parquet",
        strides=f"{STAGES}/segment/{{batch}}.strides.parquet",
        knee_bends=f"{STAGES}/segment/{{batch}}.knee_bends.parquet",
        candidates=f"{STAGES}/segment/{{batch}}.candidates.parquet",
        segment_notes=f"{STAGES}/segment/{{batch}}.notes.json",
        windows=f"{STAGES}/features/{{batch}}.windows.parquet",
    log:
        f"{RESULTS}/logs/derive/{{batch}}.log",
    wildcard_constraints:
        batch=r"people-\d+",
    priority: IN_LINE["derive"]
    group:
        submitted_with("batch")
    resources:
        mem_mb=memory_of("derive"),
        runtime=time_of("derive"),
    params:
        code=code_hash("strainstudy.stages.derive"),
        recordings=lambda w: sheet_rows(w.batch, label_tasks=["bend"], reference=True),
        sensors=lambda w: sensor_rows(w.batch),
        settings=settings_of("condition", "calibrate", "gait", "bends", "swallow", "features"),
        reference_rater=REFERENCE_RATER,
    script:
        "../scripts/derive.py"


# A rule of its own, as people wait for what is made of it: the engine's `--until derive` goes no further than the first
# jobs of a rule.
use rule derive as derive_bench with:
    wildcard_constraints:
        batch=BENCH,
    priority: IN_LINE["bench"]
