from strainstudy.tables.classifier import EVIDENCE
from strainstudy.tables.throat import THROAT_EVIDENCE


# Learns from the labels, each participant left out in turn; keeps the model, its card and the history of models.
# The model files themselves are no declared outputs: where there is too little to learn from there are none.
rule train:
    input:
        windows=of_all_batches(rules.features.output.windows),
        states=of_all_batches(rules.segment.output.states),
        candidates=of_all_batches(rules.segment.output.candidates),
        labels=label_files(),
        model=model_files(),
    output:
        bouts=f"{STAGES}/train/bouts.parquet",
        candidates=f"{STAGES}/train/candidates.parquet",
        label_next=f"{STAGES}/train/label_next.parquet",
        evidence=expand(f"{STAGES}/train/evidence/{{name}}.parquet", name=[*EVIDENCE, *THROAT_EVIDENCE]),
        features=f"{RESULTS}/tables/features.tsv",
        predictions=f"{RESULTS}/model/predictions.tsv",
        movements=f"{RESULTS}/model/swallow_predictions.tsv",
        card=f"{RESULTS}/model/card.json",
        words=f"{RESULTS}/model/card.md",
        history=update(f"{RESULTS}/model/history.tsv"),
    log:
        f"{RESULTS}/logs/train.log",
    threads: 2
    resources:
        mem_mb=8000,
        runtime=240,
    params:
        code=code_hash("strainstudy.stages.train"),
        rows=study_rows(labels=True),
        settings=settings_of(*sorted({section for sections in UPSTREAM.values() for section in sections})),
        reference_rater=REFERENCE_RATER,
        model=GENERAL.model,
        results=RESULTS,
    script:
        "../scripts/train.py"


# Bouts, strides, gait, events and swallows as the classifier has them.
rule classify:
    input:
        signals=of_all_batches(rules.condition.output.signals),
        maps=of_all_batches(rules.calibrate.output.maps),
        events=of_all_batches(rules.segment.output.events),
        strides=of_all_batches(rules.segment.output.strides),
        knee_bends=of_all_batches(rules.segment.output.knee_bends),
        segment_notes=of_all_batches(rules.segment.output.notes),
        bouts=rules.train.output.bouts,
        candidates=rules.train.output.candidates,
        label_next=rules.train.output.label_next,
        health=rules.tabulate.output.health,
        labels=label_files(),
    output:
        bouts=f"{RESULTS}/tables/bouts.tsv",
        strides=f"{RESULTS}/tables/strides.tsv",
        gait=f"{RESULTS}/tables/gait.tsv",
        events=f"{RESULTS}/tables/events.tsv",
        swallows=f"{RESULTS}/tables/swallows.tsv",
        swallow_summary=f"{RESULTS}/tables/swallow_summary.tsv",
        label_next=f"{RESULTS}/tables/label_next.tsv",
        typed_events=f"{STAGES}/classify/events.parquet",
        typed_bouts=f"{STAGES}/classify/bouts.parquet",
        typed_gait=f"{STAGES}/classify/gait.parquet",
        typed_swallow_summary=f"{STAGES}/classify/swallow_summary.parquet",
    log:
        f"{RESULTS}/logs/classify.log",
    resources:
        mem_mb=4000,
        runtime=60,
    params:
        code=code_hash("strainstudy.stages.classify"),
        rows=study_rows(labels=True),
        reference_rater=REFERENCE_RATER,
        settings=settings_of("gait", "swallow", "verdict"),
        batches={batch: [r.recording_id for r in members] for batch, members in BATCHES.items()},
        results=RESULTS,
    script:
        "../scripts/classify.py"
