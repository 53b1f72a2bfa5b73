# How a run takes place: one at a time in a results folder, none beside what a killed one left, and shown as it goes.
import hashlib

import snakemake_logger_plugin_strainstudy as display

from strainstudy.io.clock import future_problems, put_right
from strainstudy.io.ledger import read_ledger
from strainstudy.io.running import ENGINE, RUN, engine_mark, hold, is_held, succeed, wait_for_jobs
from strainstudy.needs import memory_mb, runtime_min, seconds

# The engine's own bookkeeping lies in the working folder, which may serve several results folders.
HERE = Path(".snakemake") / f"strainstudy-{hashlib.sha256(os.path.realpath(RESULTS).encode()).hexdigest()[:12]}.run"
ENGINE_LOCKS = Path(".snakemake/locks")
if workflow.is_main_process:
    os.environ[ENGINE] = engine_mark()


def recordings_in(wildcards):
    """Number of recordings that a job works on: its batch's or part's, its rater's, or all."""
    name, rater = wildcards.get("batch", wildcards.get("part")), wildcards.get("rater")
    if rater is not None:
        return sum(rater in recording.labels for recording in STUDY.recordings.values())
    return len(STUDY.recordings) if name is None else len(members(name))


def memory_of(stage):
    """Memory that jobs of a stage ask for, by what was measured."""
    return lambda wildcards: memory_mb(stage, recordings_in(wildcards))


def time_of(stage):
    """Minutes that jobs of a stage ask for, by what was measured."""
    return lambda wildcards: runtime_min(stage, recordings_in(wildcards))


def submitted_with(name):
    """Name what a cluster is given as one job: the stages on one batch; the bench alone, for which all others wait."""
    return lambda wildcards: f"{name}_bench" if wildcards.get("batch") == BENCH else name


def drop_lock_of_killed_run():
    """Take away the engine's lock that a killed run of these results left in the working folder.

    Every run has HERE before it has the engine's lock. One that had it is gone if HERE and the results can be had, and
    the engine's lock is its own if all that it locks lies in these results.
    """
    gone = succeed(HERE) and not is_held(Path(RESULTS) / RUN)
    files = [*ENGINE_LOCKS.glob("*.output.lock")] if gone else []
    locked = [line for file in files for line in file.read_text(encoding="utf-8").splitlines()]
    if locked and all(os.path.normpath(name).startswith(f"{RESULTS}{os.sep}") for name in locked):
        for file in ENGINE_LOCKS.glob("*.lock"):
            file.unlink(missing_ok=True)


def take_results():
    """Have the results for this run alone, and wait until no job of a killed run is at work in them."""
    try:
        caution = hold(Path(RESULTS))
        if caution is not None:
            sys.stderr.write(f"{caution}\n")
        wait_for_jobs(Path(RESULTS), lambda words: sys.stderr.write(f"{words}\n"))
        put_right(Path(RESULTS), read_ledger(Path(RESULTS)).names)
    except StudyError as error:
        refuse(error)
    except OSError as error:
        refuse(f"{error.filename or RESULTS}: cannot be written ({error.strerror}); nothing was run")


def select_once_a_change():
    """Let the engine look for jobs to start when one ends, and not over and over between.

    To hold back submissions it looks again a second after each look, and each such look calls for the next: with some
    dozen jobs done, dozens of times a second, and each time it asks for the sizes of all files that waiting jobs read.
    On this machine there is nothing to hold back.
    """
    if not workflow.non_local_exec:
        workflow.scheduler.job_rate_limiter = None


def show_plan(jobs):
    """Tell the display of this run, if there is one, what is to be done."""
    planned = {}
    for job in jobs:
        # in a module of another workflow the rule has another name
        stage = Path(os.path.relpath(job.log[0], f"{RESULTS}/logs")).parts[0].removesuffix(".log")
        recordings = recordings_in(job.wildcards)
        planned[workflow.dag.jobid(job)] = display.Planned(
            stage=stage,
            batch=job.wildcards.get("batch", job.wildcards.get("part")),
            recordings=recordings,
            seconds=seconds(stage, recordings),
            log=Path(job.log[0]),
            part=job.wildcards.get("kind", job.wildcards.get("subject")),
        )
    people, recordings = counted(len(STUDY.participants), "person", "people"), counted(
        len(STUDY.recordings), "recording"
    )
    display.announce(planned, f"{recordings} of {people}, results in {RESULTS}")


if workflow.is_main_process and not UNLOCKING:
    drop_lock_of_killed_run()
