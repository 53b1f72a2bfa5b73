# A page for each person, of tables alone: sessions side by side, to print on two sheets.
rule people:
    input:
        recordings=rules.tabulate.output.typed,
        health=rules.tabulate.output.health,
        calibrations=of_part(rules.derive.output.calibrations),
        bends=of_part(rules.derive.output.knee_bends),
        gait=rules.measure.output.typed_gait,
        curves=rules.measure.output.typed_curves,
        bouts=rules.measure.output.typed_bouts,
        events=rules.measure.output.typed_events,
        summary=rules.measure.output.typed_swallow_summary,
        standing=rules.validate.output,
        labels=lambda w: label_files(tasks=HELD_TASKS, batch=w.part),
        style=f"{PROJECT}/workflow/strainstudy/people/person.css",
    output:
        made=f"{STAGES}/people/{{part}}.json",
    log:
        f"{RESULTS}/logs/people/{{part}}.log",
    group:
        submitted_with("people")
    resources:
        mem_mb=memory_of("people"),
        runtime=time_of("people"),
    params:
        code=code_hash("strainstudy.stages.people"),
        recordings=lambda w: sheet_rows(w.part, label_tasks=HELD_TASKS),
        participants=lambda w: people_rows(w.part),
        reference_rater=REFERENCE_RATER,
        study=GENERAL.study,
        results=RESULTS,
    script:
        "../scripts/people.py"
