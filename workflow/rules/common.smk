# The study as it was checked at the start, and what the rules need to know of it.
# Lists that grow with recordings are given to rules by functions: of a list that stands in a rule, the engine goes
# through all for each of its files, which takes minutes from some thousand on.
import os
import sys
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path

import strainstudy
from strainstudy.batches import BENCH, group_recordings, joined_batches
from strainstudy.config import load_config
from strainstudy.errors import StudyError, caution_lines, counted
from strainstudy.intake.contributors import CONTRIBUTORS
from strainstudy.intake.settings_files import check_config_files
from strainstudy.intake.start import check_all, look, reference_rater
from strainstudy.intake.shipped import files_of
from strainstudy.provenance.code import code_hash
from strainstudy.records import Study
from strainstudy.stages.rows import Rows, row_of
from strainstudy.upstream import UPSTREAM
from strainstudy.vocabulary import BODY_TASKS, SIDE_OF_POINT

PROJECT = str(Path(strainstudy.__file__).resolve().parents[2])
config_files = [str(file) for file in workflow.configfiles]
# The handler that looks before the first job is called by that other workflow, if at all.
AS_MODULE = not workflow.modifier.is_main_snakefile()
UNLOCKING = "--unlock" in sys.argv  # the lock is the working folder's, whatever became of the study


def refuse(error):
    """End the run with every fault of the study."""
    sys.stderr.write(f"{error}\n")
    sys.exit(1)


def say(cautions):
    """Tell what is unlikely and stops nothing."""
    sys.stderr.write("".join(f"{line}\n" for line in caution_lines(cautions)))


try:
    if UNLOCKING:
        (GENERAL, SETTINGS), STUDY = load_config({}), Study(Path(), {}, {}, {})
    else:
        check_config_files(config_files)
        names, files = " + ".join(config_files), [Path(f) for f in config_files]
        GENERAL, SETTINGS, STUDY = check_all(config, names, files, labels_read=AS_MODULE)
    CAUTIONS = STUDY.cautions
    if workflow.is_main_process and not UNLOCKING:
        if AS_MODULE:
            CAUTIONS = look(STUDY, GENERAL, SETTINGS["ingest"])
        say(CAUTIONS)
except StudyError as error:
    refuse(error)

REFERENCE_RATER = reference_rater(STUDY, SETTINGS["validate"].reference_rater)
RESULTS = os.path.normpath(GENERAL.results)
STAGES = f"{RESULTS}/stages"
BATCHES = group_recordings(STUDY.recordings.values(), GENERAL.batches)
PARTS = joined_batches(BATCHES)
SETTING_FILES = sorted({*config_files, GENERAL.norms})
HELD_TASKS = ("bend", "free")
# Which jobs start first where more could: those that most others wait for, then figures, which take longest. Pages of one
# batch fill what is left.
IN_LINE = {"study": 5, "bench": 4, "ingest": 3, "derive": 2, "figures": 1}
RATERS = tuple(sorted({rater for recording in STUDY.recordings.values() for rater in recording.labels}))


wildcard_constraints:
    batch="|".join(BATCHES),
    rater="|".join(RATERS) or "none",
    part="|".join(PARTS),


def settings_of(*sections):
    """Settings of some sections as plain values, so that a rule runs again when one of its own changes."""
    return {name: asdict(SETTINGS[name]) for name in sections}


def members(name):
    """Recordings of a batch, or of a part, which is several of them."""
    return BATCHES[name] if name in BATCHES else [r for batch in PARTS[name] for r in BATCHES[batch]]


def of_part(pattern):
    """One stage's output of every batch of a part."""
    return lambda w: expand(pattern, batch=PARTS[w.part])


def sheet_rows(name, label_tasks=(), reference=False):
    """Sheet rows of a batch or part; labels, use of a reference and walkway are named only where the stage reads them."""
    rows = [r if r.task in label_tasks else replace(r, labels={}) for r in members(name)]
    return Rows(row_of(r if reference else replace(r, reference_use=None, walkway=None)) for r in rows)


def people_rows(part):
    """Sheet rows of the people of a part."""
    present = {r.participant_id for r in members(part)}
    return Rows(asdict(p) for name, p in STUDY.participants.items() if name in present)


def held_rows():
    """Sheet rows of the recordings whose labels hold known angles."""
    held = [r for r in STUDY.recordings.values() if r.task in HELD_TASKS and r.labels]
    return Rows(row_of(replace(r, reference_use=None, walkway=None)) for r in held)


def sensor_rows(batch):
    """Sheet rows of the sensors that a batch uses."""
    used = {c.sensor_id or r.sensor_id for r in BATCHES[batch] for c in r.channels} - {None}
    return Rows(asdict(STUDY.sensors[sensor]) for sensor in sorted(used))


def all_sensor_rows():
    """The sheet rows of all sensors."""
    return Rows(asdict(sensor) for sensor in STUDY.sensors.values())


def raw_files(batch):
    """Raw files of a batch, as Snakemake shall watch them."""
    return [str(recording.path) for recording in BATCHES[batch]]


def label_files(tasks=None, batch=None, rater=None):
    """Label files of a batch or part or of the study, of all tasks or some, of all raters or one."""
    recordings = STUDY.recordings.values() if batch is None else members(batch)
    return sorted(
        str(path)
        for recording in recordings
        if tasks is None or recording.task in tasks
        for name, path in recording.labels.items()
        if rater is None or name == rater
    )


def answer_files(batch):
    """What the bench says of how sensors answer, for a batch of people that has one of them on a knee."""
    benched = {r.sensor_id for r in BATCHES.get(BENCH, [])}
    worn = {
        c.sensor_id or r.sensor_id
        for r in BATCHES[batch]
        for c in r.channels
        if c.tracked_point in SIDE_OF_POINT and c.units != "deg"
    }
    return [f"{STAGES}/characterise/answers.json"] if benched & worn - {None} else []


def study_files():
    """Every file of the study that was read: sheets, raw files, labels."""
    sheets = [*STUDY.sheets, *(path for path in (Path(GENERAL.study) / CONTRIBUTORS.file,) if path.is_file())]
    return sorted({*map(str, sheets), *(f for batch in BATCHES for f in raw_files(batch)), *label_files()})


def model_files():
    """Files of a model of another study, if the config names one, and of one that comes along and may stand in."""
    return [str(path) for path in files_of(GENERAL.model, GENERAL.train_with)]


def template_files():
    """Templates of the report, which are no modules and so not in the hash of the code."""
    return [str(p) for p in sorted(Path(PROJECT, "workflow/strainstudy/report/templates").iterdir())]


def of_all_batches(pattern):
    """One stage's output of every batch."""
    return expand(pattern, batch=list(BATCHES))


def gathered(*raters):
    """Tables of the labels of raters; of one who labelled nothing there is none."""
    return [f"{STAGES}/labels/{rater}.parquet" for rater in raters if rater in RATERS]


@cache
def study_rows(raters=(), reference=False):
    """The whole study's rows for stages that collect the batches, with the label files of some raters."""
    recordings = [r if reference else replace(r, reference_use=None, walkway=None) for r in STUDY.recordings.values()]
    return {
        "participants": Rows(asdict(p) for p in STUDY.participants.values()),
        "recordings": Rows(
            row_of(replace(r, labels={name: path for name, path in r.labels.items() if name in raters}))
            for r in recordings
        ),
    }


def look_before_work(jobs):
    """Read the labels and open the raw files of batches in which something is new, before the first job.

    Where nothing is to be done, nothing is opened: with 10,000 recordings that takes a minute.
    """
    if AS_MODULE:
        return
    reading = {of.rule.name for of in (rules.ingest, rules.ingest_bench, rules.derive, rules.review)}
    present = {job.rule.name for job in workflow.dag.jobs}
    # Only review pages read all labels of a batch; under strict what no file has counts in all of them together.
    anywhere = GENERAL.strict or rules.review.rule.name not in present
    batches = BATCHES if anywhere else {job.wildcards.batch for job in jobs if job.rule.name in reading}
    recordings = {r.recording_id: r for batch in sorted(batches) for r in BATCHES[batch]}
    part = replace(STUDY, recordings=recordings, cautions=())
    try:
        say(look(part, GENERAL, SETTINGS["ingest"], labels_read=False))
    except StudyError as error:
        refuse(error)


@cache
def summary_of_study():
    """What `snakemake check` says when nothing is wrong, after a look into every raw file."""
    try:
        cautions = look(STUDY, GENERAL, SETTINGS["ingest"], thorough=True, labels_read=AS_MODULE)
    except StudyError as error:
        refuse(error)
    say([caution for caution in cautions if caution not in CAUTIONS])
    more = f", with {counted(len(cautions), 'caution')} (above)" if cautions else ""
    recordings = STUDY.recordings.values()
    labelled = sum(bool(r.labels) for r in recordings)
    return (
        f"{GENERAL.study}: in order{more}. {counted(len(STUDY.participants), 'participant')}, "
        f"{counted(len(STUDY.sensors), 'sensor')}, {counted(len(recordings), 'recording')}, {labelled} with labels."
    )
