# A page for each person, of tables alone: sessions side by side, to print on two sheets.
PEOPLED = [batch for batch in BATCHES if batch != BENCH]


rule people:
    input:
        recordings=rules.tabulate.output.typed,
        health=rules.tabulate.output.health,
        calibrations=rules.derive.output.calibrations,
        bends=rules.derive.output.knee_bends,
        gait=rules.measure.output.typed_gait,
        curves=rules.measure.output.typed_curves,
        bouts=rules.measure.output.typed_bouts,
        events=rules.measure.output.typed_events,
        summary=rules.measure.output.typed_swallow_summary,
        standing=rules.validate.output,
        labels=lambda w: label_files(tasks=HELD_TASKS, batch=w.batch),
        style=f"{PROJECT}/workflow/strainstudy/people/person.css",
    output:
        made=f"{STAGES}/people/{{batch}}.json",
    log:
        f"{RESULTS}/logs/people/{{batch}}.log",
    group:
        submitted_with("people")
    resources:
        mem_mb=memory_of("people"),
        runtime=time_of("people"),
    params:
        code=code_hash("strainstudy.stages.people"),
        recordings=lambda w: sheet_rows(w.batch, label_tasks=HELD_TASKS),
        participants=lambda w: people_rows(w.batch),
        reference_rater=REFERENCE_RATER,
        study=GENERAL.study,
        results=RESULTS,
    script:
        "../scripts/people.py"
