# Figures as files and one page that needs no network.
rule report:
    input:
        tables=[*rules.tabulate.output, *rules.measure.output, *rules.validate.output],
        signals=of_all_batches(rules.derive.output.signals),
        model=[rules.classify.output.card, rules.classify.output.history],
        labels=lambda w: label_files(),
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
        settings=settings_of(*(section for section in SETTINGS if section != "share")),
        results=RESULTS,
    script:
        "../scripts/report.py"
