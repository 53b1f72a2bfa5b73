# Raw files, whatever their format, to one uniform time grid each; what is wrong with them counted and named.
rule ingest:
    input:
        raw=lambda w: raw_files(w.batch),
    output:
        traces=f"{STAGES}/ingest/{{batch}}.parquet",
        quality=f"{STAGES}/ingest/{{batch}}.quality.json",
    log:
        f"{RESULTS}/logs/ingest/{{batch}}.log",
    wildcard_constraints:
        batch=r"people-\d+",
    priority: IN_LINE["ingest"]
    group:
        submitted_with("batch")
    resources:
        mem_mb=memory_of("ingest"),
        runtime=time_of("ingest"),
    params:
        code=code_hash("strainstudy.stages.ingest"),
        recordings=lambda w: sheet_rows(w.batch),
        settings=settings_of("ingest"),
        strict=GENERAL.strict,
    script:
        "../scripts/ingest.py"


# A rule of its own, as what people's sensors answer is known from their bench: all of `derive` waits for it.
use rule ingest as ingest_bench with:
    wildcard_constraints:
        batch=BENCH,
    priority: IN_LINE["bench"]
