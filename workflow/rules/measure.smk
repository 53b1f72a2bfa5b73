# Gait and swallows measured as the classifier has them; the tables that rest on it.
rule measure:
    input:
        signals=of_all_batches(rules.derive.output.signals),
        maps=of_all_batches(rules.derive.output.maps),
        events=of_all_batches(rules.derive.output.events),
        strides=of_all_batches(rules.derive.output.strides),
        knee_bends=of_all_batches(rules.derive.output.knee_bends),
        segment_notes=of_all_batches(rules.derive.output.segment_notes),
        bouts=rules.classify.output.bouts,
        rule_bouts=rules.classify.output.rule_bouts,
        candidates=rules.classify.output.candidates,
        label_next=rules.classify.output.label_next,
        health=rules.tabulate.output.health,
        labels=gathered(REFERENCE_RATER),
    output:
        bouts=f"{RESULTS}/tables/bouts.tsv",
        strides=f"{RESULTS}/tables/strides.tsv",
        gait=f"{RESULTS}/tables/gait.tsv",
        curves=f"{RESULTS}/tables/curves.tsv",
        events=f"{RESULTS}/tables/events.tsv",
        swallows=f"{RESULTS}/tables/swallows.tsv",
        swallow_summary=f"{RESULTS}/tables/swallow_summary.tsv",
        label_next=f"{RESULTS}/tables/label_next.tsv",
        typed_events=f"{STAGES}/measure/events.parquet",
        typed_bouts=f"{STAGES}/measure/bouts.parquet",
        typed_gait=f"{STAGES}/measure/gait.parquet",
        typed_curves=f"{STAGES}/measure/curves.parquet",
        typed_swallow_summary=f"{STAGES}/measure/swallow_summary.parquet",
    log:
        f"{RESULTS}/logs/measure.log",
    priority: IN_LINE["study"]
    threads: 2
    resources:
        mem_mb=memory_of("measure"),
        runtime=time_of("measure"),
    params:
        code=code_hash("strainstudy.stages.measure"),
        rows=study_rows(raters=(REFERENCE_RATER,)),
        reference_rater=REFERENCE_RATER,
        settings=settings_of("gait", "swallow", "verdict"),
        batches={batch: Rows(r.recording_id for r in members) for batch, members in BATCHES.items()},
        results=RESULTS,
    script:
        "../scripts/measure.py"
