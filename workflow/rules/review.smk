# Pages to look at recordings and correct labels. Signals and labels make the pages of a batch; what was detected, which
# every changed label may change everywhere, lies in small files beside them.
from strainstudy.review.names import ASSETS, INDEX, reviewed
from strainstudy.stages.review import FOUND

REVIEWED = [batch for batch, members in BATCHES.items() if reviewed(members)]
PAGE_PARTS = [str(p) for p in sorted(Path(PROJECT, "workflow/strainstudy/review/assets").iterdir())]


rule review:
    input:
        **{name: rules.derive.output[name] for name in FOUND},
        traces=rules.ingest.output.traces,
        signals=rules.derive.output.signals,
        quality=rules.ingest.output.quality,
        labels=lambda w: label_files(batch=w.batch),
        parts=PAGE_PARTS,
    output:
        made=f"{STAGES}/review/{{batch}}.json",
    log:
        f"{RESULTS}/logs/review/{{batch}}.log",
    group:
        submitted_with("review")
    resources:
        mem_mb=memory_of("review"),
        runtime=time_of("review"),
    params:
        code=code_hash("strainstudy.stages.review"),
        recordings=lambda w: sheet_rows(w.batch, label_tasks=BODY_TASKS),
        reference_rater=REFERENCE_RATER,
        tolerances={
            "time": SETTINGS["validate"].contact_tolerances_s,
            "centre": SETTINGS["validate"].centre_tolerances_s,
        },
        results=RESULTS,
    script:
        "../scripts/review.py"
