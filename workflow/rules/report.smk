# One page that needs no network, composed of tables and of what is drawn already.
rule report:
    input:
        tables=[*rules.tabulate.output, *rules.measure.output, *rules.validate.output],
        model=[rules.classify.output.card, rules.classify.output.history],
        figures=expand(rules.figures.output.made, kind=list(FIGURE_KINDS)),
        drawings=expand(rules.drawings.output.made, part=list(PARTS)),
        template=template_files(),
    output:
        page=f"{RESULTS}/report.html",
        figures=f"{RESULTS}/figures/figures.tsv",
    log:
        f"{RESULTS}/logs/report.log",
    priority: IN_LINE["figures"]
    resources:
        mem_mb=memory_of("report"),
        runtime=time_of("report"),
    params:
        code=code_hash("strainstudy.stages.report"),
        study=GENERAL.study,
        settings=settings_of(*(section for section in SETTINGS if section != "share")),
        results=RESULTS,
    script:
        "../scripts/report.py"
