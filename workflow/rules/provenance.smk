# What went in, what came out, what each column means, and how to run it again.
from strainstudy.provenance.codebook import CODEBOOK
from strainstudy.provenance.crate import CRATE
from strainstudy.provenance.datapackage import LARGE, PACKAGE, twin_of
from strainstudy.provenance.origin import BESIDE, LOCK, WORKFLOW


rule provenance:
    input:
        results=[*rules.report.output, *rules.paper.output, *rules.classify.output, *rules.review_shared.output],
        reviews=expand(rules.review.output.made, batch=REVIEWED),
        people=expand(rules.people.output.made, part=list(PARTS)),
        study=lambda w: study_files(),
        settings=SETTING_FILES,
        models=model_files(),
        # what is copied beside the crate
        project=[f"{PROJECT}/{name}" for name in (WORKFLOW, LOCK)],
    output:
        manifest=f"{RESULTS}/provenance/manifest.tsv",
        crate=f"{RESULTS}/{CRATE}",
        beside=[f"{RESULTS}/provenance/{name}" for name in BESIDE],
        codebook=f"{RESULTS}/{CODEBOOK}",
        package=f"{RESULTS}/{PACKAGE}",
        twins=[f"{RESULTS}/{twin_of(table)}" for table in LARGE],
    log:
        f"{RESULTS}/logs/provenance.log",
    resources:
        mem_mb=memory_of("provenance"),
        runtime=time_of("provenance"),
    params:
        code=code_hash("strainstudy.stages.provenance"),
        study=GENERAL.study,
        settings={**asdict(GENERAL), **settings_of(*SETTINGS)},
        contributors=[asdict(person) for person in STUDY.contributors],
        project=PROJECT,
        results=RESULTS,
    script:
        "../scripts/provenance.py"
