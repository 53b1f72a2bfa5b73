# Figures of a paper at the width of a column and a page, by what they are drawn from: on all cores, some of them while
# the validation is at work, and only those again whose tables changed.
from strainstudy.paper.kinds import PAPER_KINDS, reads_signals, tables_of as paper_tables_of


wildcard_constraints:
    subject="|".join(PAPER_KINDS),


rule paper_figures:
    input:
        tables=lambda w: [f"{RESULTS}/{table.path}" for table in paper_tables_of(w.subject)],
        signals=lambda w: of_all_batches(rules.derive.output.signals) if reads_signals(w.subject) else [],
    output:
        made=f"{STAGES}/paper_figures/{{subject}}.json",
    log:
        f"{RESULTS}/logs/paper_figures/{{subject}}.log",
    priority: IN_LINE["figures"]
    resources:
        mem_mb=memory_of("paper_figures"),
        runtime=time_of("paper_figures"),
    params:
        code=code_hash("strainstudy.stages.paper_figures"),
        recordings=lambda w: study_rows(reference=True)["recordings"] if reads_signals(w.subject) else [],
        results=RESULTS,
    script:
        "../scripts/paper_figures.py"
