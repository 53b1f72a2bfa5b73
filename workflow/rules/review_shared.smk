# What all review pages share: the list of them, the programs they run, and what was detected in each recording.
rule review_shared:
    input:
        events=rules.measure.output.typed_events,
        bouts=rules.measure.output.typed_bouts,
        quality=of_all_batches(rules.ingest.output.quality),
        parts=PAGE_PARTS,
    output:
        page=f"{RESULTS}/{INDEX}",
        assets=[f"{RESULTS}/{name}" for name in ASSETS],
    log:
        f"{RESULTS}/logs/review_shared.log",
    resources:
        mem_mb=memory_of("review_shared"),
        runtime=time_of("review_shared"),
    params:
        code=code_hash("strainstudy.stages.review"),
        rows=study_rows(raters=RATERS),
        study=GENERAL.study,
        results=RESULTS,
    script:
        "../scripts/review_shared.py"
