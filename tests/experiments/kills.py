"""Kill runs of a small study at random moments, give the same command again, and compare with an undisturbed run.

``python tests/experiments/kills.py [REPORT] [--kills 50] [--seed 1] [--in-a-row 5]`` writes its section of
docs/robustness.md. A run is killed several times in a row, each time at a random moment after the same command was
given again, and then left to finish; its results folder must then have the same bytes as that of the undisturbed run.
"""

from __future__ import annotations

import argparse
import math
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from experiments.robustness import machine, table, write_section
from small_runs import Run, contents, different, jobs_of, kill, small_study
from strainstudy.errors import counted
from strainstudy.io.atomic import PART

TARGETS = ("group", "engine", "job")
WORDS = {"group": "everything", "engine": "the engine alone", "job": "one job"}
PEOPLE, BATCHES = 3, 2
SPAN = 0.7
"""Of the time of an undisturbed run, in which a moment is drawn."""


class Kill(NamedTuple):
    """What was killed when, what ran then, the run it was in, and what came of the same command given again."""

    moment_s: float
    target: str
    running: str
    chain: int
    after: str


def _go(run: Run, moment_s: float) -> tuple[subprocess.Popen[bytes], float, str, float | None]:
    """Give the command and let it go on until a moment; also tell when a job was at work, in words and in seconds."""
    begun, back = time.monotonic(), None
    engine = run.start()
    while engine.poll() is None and time.monotonic() - begun < moment_s:
        if back is None and jobs_of(engine.pid):
            back = time.monotonic() - begun
        time.sleep(0.05)
    if back is not None:
        return engine, begun, f"{back:.1f}", back
    return engine, begun, "no job was left" if engine.poll() == 0 else "the next kill came first", None


def chain(run: Run, draws: random.Random, number: int, most: int, span_s: float) -> tuple[list[Kill], int, list[float]]:
    """Kill a run up to ``most`` times and let it finish; tell the kills, the last exit status and times to work."""
    kills: list[Kill] = []
    backs: list[float] = []
    waiting = None
    while True:
        target, moment = draws.choice(TARGETS), draws.uniform(0.5, span_s / 2)
        engine, begun, words, back = _go(run, moment if len(kills) + (waiting is not None) < most else math.inf)
        if waiting is not None:
            kills.append(waiting._replace(after=words))
            backs += [] if back is None else [back]
        running = kill(engine, target) if len(kills) < most else None
        if running is None:
            return kills, engine.wait(timeout=900), backs
        moment = time.monotonic() - begun
        # after the loss of one job the engine ends by itself, when the others are through
        engine.wait(timeout=900)
        waiting = Kill(moment, target, ", ".join(running) or "no job", number, "")


def main() -> int:
    """Kill, finish, compare, report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("report", nargs="?", type=Path)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--in-a-row", type=int, default=5)
    parser.add_argument("--until", nargs="*", default=[])
    given = parser.parse_args()
    targets = ("--until", *given.until) if given.until else ()
    draws = random.Random(given.seed)
    work = Path(tempfile.mkdtemp(prefix="kills-"))
    study = small_study(work / "study", PEOPLE)
    start = time.monotonic()
    calm = Run(work / "run", study, targets, {"batches": BATCHES})
    if calm.finish() != 0:
        sys.exit(calm.said())
    span = SPAN * (time.monotonic() - start)
    wanted = contents(calm.results)
    kills: list[Kill] = []
    backs: list[float] = []
    equal: dict[int, list[str]] = {}
    number = 0
    while len(kills) < given.kills:
        # the same place, since logs and ledgers name it
        shutil.rmtree(work / "run")
        run = Run(work / "run", study, targets, {"batches": BATCHES})
        most = min(given.in_a_row, given.kills - len(kills))
        of_chain, status, backs_of_chain = chain(run, draws, number, most, span)
        backs += backs_of_chain
        # the loss of a job at the very end leaves the status of that run: the same command once more
        status = run.finish() if status != 0 else status
        found = contents(run.results)
        if given.until:
            # nobody reads unfinished files, and it is the last job of a whole run that removes them
            found = {name: one for name, one in found.items() if PART.fullmatch(Path(name).name) is None}
        equal[number] = different(wanted, found) if status == 0 else [f"exit status {status}"]
        if equal[number]:
            shutil.copytree(work / "run", work / f"differs-{number}")
        kills += of_chain
        number += 1
        print(f"{len(kills)} kills, run {number}: {'; '.join(equal[number - 1]) or 'same bytes'}", flush=True)
        report(given, kills, backs, equal, len(wanted), span / SPAN)
    wrong = any(equal.values())
    if not wrong:
        shutil.rmtree(work)
    return 1 if wrong else 0


def report(
    given: argparse.Namespace,
    kills: list[Kill],
    backs: list[float],
    equal: dict[int, list[str]],
    files: int,
    calm_s: float,
) -> None:
    """Write what was found so far."""
    rows = [
        (
            str(n),
            f"{k.moment_s:.1f}",
            WORDS[k.target],
            k.running,
            k.after,
            "yes" if not equal[k.chain] else f"no: {', '.join(equal[k.chain][:3])}",
        )
        for n, k in enumerate(kills, start=1)
    ]
    heads = ("kill", "moment, s", "killed", "running then", "until a job was at work again, s", "bytes equal")
    wrong = sum(bool(equal[k.chain]) for k in kills)
    back = "No job was at work again before the next kill."
    if backs:
        back = f"Until a job was at work again: median {median(backs):.1f} s, at most {max(backs):.1f} s."
    reach = f"worked through up to `{' '.join(given.until)}`" if given.until else "worked through whole"
    text = (
        f"{len(kills)} kills (`kill -9`, seed {given.seed}) in {counted(len(equal), 'run')} of {PEOPLE} people in "
        f"{BATCHES} batches on 2 cores, {reach}, the moment drawn anew each time the command was given; an undisturbed "
        f"run took {calm_s:.0f} s. After each kill the same command was given, with no step between. Its bytes are "
        f"those of all files of the results folder at the end of the run that the kill was in, {files} of them. "
        f"{len(kills) - wrong} of {len(kills)} kills changed nothing. {back} {machine()}\n\n"
        f"{table(heads, rows)}"
    )
    if given.report is None:
        print(text)
    else:
        options = f" --in-a-row {given.in_a_row}" + (f" --until {' '.join(given.until)}" if given.until else "")
        write_section(given.report, "Killed at random moments", f"tests/experiments/kills.py{options}", text)


if __name__ == "__main__":
    sys.exit(main())
