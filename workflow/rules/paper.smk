# What a paper is written from beside its figures: tables, captions, methods, references.
from strainstudy.paper.names import CAPTIONS, CHECKLIST_FILE, METHODS_FILE, REFERENCES


rule paper:
    input:
        tables=[*rules.tabulate.output, *rules.measure.output, *rules.validate.output],
        figures=expand(rules.paper_figures.output.made, subject=list(PAPER_KINDS)),
        model=[rules.classify.output.card, rules.classify.output.history],
        entries=f"{PROJECT}/workflow/strainstudy/paper/references.bib",
    output:
        captions=f"{RESULTS}/{CAPTIONS}",
        methods=f"{RESULTS}/{METHODS_FILE}",
        references=f"{RESULTS}/{REFERENCES}",
        checklist=f"{RESULTS}/{CHECKLIST_FILE}",
    log:
        f"{RESULTS}/logs/paper.log",
    priority: IN_LINE["figures"]
    resources:
        mem_mb=memory_of("paper"),
        runtime=time_of("paper"),
    params:
        code=code_hash("strainstudy.stages.paper"),
        rows=study_rows(raters=RATERS, reference=True),
        sensors=lambda w: all_sensor_rows(),
        reference_rater=REFERENCE_RATER,
        settings=settings_of(*(name for name in SETTINGS if name != "share")),
        results=RESULTS,
    script:
        "../scripts/paper.py"
