# Figures as files and one page that needs no network; then what went in, what came out, and their hashes.
rule report:
    input:
        tables=[*rules.tabulate.output, *rules.classify.output, *rules.validate.output],
        signals=of_all_batches(rules.condition.output.signals),
        model=[rules.train.output.card, rules.train.output.history],
        labels=label_files(),
        template=template_files(),
    output:
        page=f"{RESULTS}/report.html",
        figures=f"{RESULTS}/figures/figures.tsv",
    log:
        f"{RESULTS}/logs/report.log",
    resources:
        mem_mb=4000,
        runtime=60,
    params:
        code=code_hash("strainstudy.stages.report"),
        rows=study_rows(labels=True),
        study=GENERAL.study,
        reference_rater=REFERENCE_RATER,
        settings=settings_of(*SETTINGS),
        results=RESULTS,
    script:
        "../scripts/report.py"


rule provenance:
    input:
        results=[*rules.report.output, *rules.train.output, *rules.review_shared.output],
        reviews=expand(rules.review.output.made, batch=REVIEWED),
        study=study_files(),
        settings=SETTING_FILES,
    output:
        manifest=f"{RESULTS}/provenance/manifest.tsv",
        crate=f"{RESULTS}/provenance/ro-crate-metadata.json",
    log:
        f"{RESULTS}/logs/provenance.log",
    resources:
        mem_mb=1000,
        runtime=10,
    params:
        code=code_hash("strainstudy.stages.provenance"),
        study=GENERAL.study,
        results=RESULTS,
    script:
        "../scripts/provenance.py"
