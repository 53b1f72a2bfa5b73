# Whose the files of the results folder are: nothing is written or removed there but what the rules above name. This
# file is included last; its check comes before any work, its note before the first job.
from snakemake.io import IOFile, strip_wildcard_constraints

from strainstudy.errors import StudyError
from strainstudy.intake.claims import planned_problems
from strainstudy.io.ledger import begin, clear_unfinished, read_ledger, settle
from strainstudy.provenance.plan import planned_files
from strainstudy.share.names import share_files

# Where this workflow is a module of another, the rules of that one write elsewhere and are none of ours.
OWN_RULES = tuple(workflow.modifier.rules)


def declared_files():
    """Outputs and logs of every job that there could be, relative to the results folder."""
    patterns = {strip_wildcard_constraints(path) for rule in OWN_RULES for path in [*rule.output, *rule.log]}
    jobs = {"batch": list(BATCHES), "part": list(PARTS), "kind": list(FIGURE_KINDS), "subject": list(PAPER_KINDS)}
    jobs["rater"] = list(RATERS)
    made = {path for pattern in patterns for path in expand(pattern, **jobs)}
    return sorted(os.path.relpath(path, RESULTS) for path in made)


TO_SHARE = share_files(STUDY, SETTINGS["share"], TABLES_TO_SHARE)
PLANNED = planned_files([*declared_files(), *TO_SHARE], STUDY.recordings.values())
NO_LONGER_MADE = read_ledger(Path(RESULTS)).names.difference(PLANNED)
files_read = [Path(path) for path in [*study_files(), *SETTING_FILES, *model_files()]]
in_the_way = planned_problems(Path(RESULTS), PLANNED, files_read)
if workflow.is_main_process:
    in_the_way += future_problems(files_read)
if in_the_way and not UNLOCKING:
    sys.stderr.write(f"{StudyError(in_the_way)}\n")
    sys.exit(1)


BEGUN = []


onstart:
    # A check alone writes no results.
    working = {rule.name for rule in OWN_RULES} - {rules.all.rule.name, rules.check.rule.name}
    waiting = [job for job in workflow.dag.needrun_jobs() if job.rule.name in working]
    if waiting:
        look_before_work(waiting)
        take_results()
        begin(Path(RESULTS), PLANNED, Path(GENERAL.study))
        BEGUN.append(Path(RESULTS))
        show_plan(waiting)
        select_once_a_change()


onsuccess:
    for folder in BEGUN:
        clear_unfinished(folder)
        settle(folder)
        # What the engine keeps of a file that is gone holds the rows of the sheets that it was made from.
        for name in NO_LONGER_MADE:
            if not os.path.lexists(folder / name):
                workflow.persistence.cleanup_metadata(IOFile(f"{RESULTS}/{name}"))


onerror:
    for folder in BEGUN:
        settle(folder)
