# What went in, what came out, and their hashes.
rule provenance:
    input:
        results=[*rules.report.output, *rules.paper.output, *rules.classify.output, *rules.review_shared.output],
        reviews=expand(rules.review.output.made, batch=REVIEWED),
        people=expand(rules.people.output.made, batch=PEOPLED),
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
