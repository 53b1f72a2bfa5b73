# The study as a BIDS folder for others; made only when it is asked for.
TABLES_TO_SHARE = sorted(
    os.path.relpath(path, RESULTS)
    for rule_ in (rules.tabulate, rules.measure, rules.validate, rules.classify)
    for path in rule_.output
    if path.startswith((f"{RESULTS}/tables", f"{RESULTS}/validation")) and path.endswith(".tsv")
)


rule share:
    input:
        tables=expand(f"{RESULTS}/{{table}}", table=TABLES_TO_SHARE),
        study=lambda w: study_files(),
        # after the last job, which removes what the study no longer makes
        manifest=rules.provenance.output.manifest,
    output:
        folder=f"{RESULTS}/share/bids/dataset_description.json",
        columns=f"{RESULTS}/share/columns.tsv",
    log:
        f"{RESULTS}/logs/share.log",
    resources:
        mem_mb=memory_of("share"),
        runtime=time_of("share"),
    params:
        code=code_hash("strainstudy.stages.share"),
        rows=study_rows(raters=RATERS, reference=True),
        sensors=lambda w: all_sensor_rows(),
        settings=settings_of("share", "ingest"),
        study=GENERAL.study,
        tables=TABLES_TO_SHARE,
        results=RESULTS,
    script:
        "../scripts/share.py"
