from strainstudy.tables.classifier import EVIDENCE
from strainstudy.tables.throat import THROAT_EVIDENCE


# Learns from the labels, each participant left out in turn, and decides for everybody; keeps the model, its card and
# the history of models.
# The model files themselves are no declared outputs: where there is too little to learn from there are none.
rule classify:
    input:
        windows=of_all_batches(rules.derive.output.windows),
        states=of_all_batches(rules.derive.output.states),
        candidates=of_all_batches(rules.derive.output.candidates),
        labels=gathered(REFERENCE_RATER),
        model=model_files(),
    output:
        bouts=f"{STAGES}/classify/bouts.parquet",
        rule_bouts=f"{STAGES}/classify/rule_bouts.parquet",
        candidates=f"{STAGES}/classify/candidates.parquet",
        label_next=f"{STAGES}/classify/label_next.parquet",
        evidence=expand(f"{STAGES}/classify/evidence/{{name}}.parquet", name=[*EVIDENCE, *THROAT_EVIDENCE]),
        features=f"{RESULTS}/tables/features.tsv",
        predictions=f"{RESULTS}/model/predictions.tsv",
        movements=f"{RESULTS}/model/swallow_predictions.tsv",
        card=f"{RESULTS}/model/card.json",
        words=f"{RESULTS}/model/card.md",
        history=update(f"{RESULTS}/model/history.tsv"),
    log:
        f"{RESULTS}/logs/classify.log",
    priority: IN_LINE["study"]
    threads: 2
    resources:
        mem_mb=memory_of("classify"),
        runtime=time_of("classify"),
    params:
        code=code_hash("strainstudy.stages.classify"),
        rows=study_rows(raters=(REFERENCE_RATER,)),
        settings=settings_of(*sorted({section for sections in UPSTREAM.values() for section in sections})),
        reference_rater=REFERENCE_RATER,
        model=GENERAL.model,
        train_with=GENERAL.train_with,
        results=RESULTS,
    script:
        "../scripts/classify.py"
