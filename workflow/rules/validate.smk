# Against labels, between raters, against a reference angle, beside published norms, between sessions and groups.
VALIDATION = [
    "events",
    "confounders",
    "states",
    "confusion",
    "raters",
    "parameters",
    "pairs",
    "angles",
    "classifier",
    "reliability",
    "permutation",
    "learning_curve",
    "ablation",
    "importance",
    "choices",
    "mistakes",
    "throat_classifier",
    "throat_confusion",
    "throat_shapes",
    "norms",
    "retest",
    "groups",
]


rule validate:
    input:
        recordings=rules.tabulate.output.typed,
        events=rules.measure.output.typed_events,
        bouts=rules.measure.output.typed_bouts,
        gait=rules.measure.output.typed_gait,
        swallow_summary=rules.measure.output.typed_swallow_summary,
        signals=of_all_batches(rules.derive.output.signals),
        evidence=rules.classify.output.evidence,
        labels=gathered(*RATERS),
        norms=GENERAL.norms,
    output:
        tables=expand(f"{RESULTS}/validation/{{table}}.tsv", table=VALIDATION),
        change=f"{RESULTS}/tables/change.tsv",
    log:
        f"{RESULTS}/logs/validate.log",
    priority: IN_LINE["study"]
    threads: 2
    resources:
        mem_mb=memory_of("validate"),
        runtime=time_of("validate"),
    params:
        code=code_hash("strainstudy.stages.validate"),
        rows=study_rows(raters=RATERS, reference=True),
        settings=settings_of("validate", "swallow", "calibrate"),
        results=RESULTS,
    script:
        "../scripts/validate.py"
