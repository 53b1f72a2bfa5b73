"""Work the same study through in other circumstances and compare every file with the first run's.

``python tests/experiments/same_bytes.py [REPORT] [--demo] [--together]`` writes its section of
docs/robustness.md: a small study, or the demo. Each circumstance is changed alone, or with ``--together`` all in two
runs.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from experiments.robustness import table, write_section
from small_runs import ROOT, SMALL, Run, contents, different, small_study

PEOPLE = 3


class Circumstance(NamedTuple):
    """What is different in a run: its words, cores, settings, environment, and whether its folder has another place."""

    words: str
    cores: int = 2
    settings: Mapping[str, Any] = {}
    environment: Mapping[str, str] = {}
    elsewhere: bool = False

    @property
    def may_differ(self) -> tuple[str, ...]:
        """Files that name what was changed: other batches are other files, and a setting is written down."""
        if not self.settings:
            return ()
        return ("stages/", "signals/", "logs/", "provenance/", "datapackage.json", "codebook.html")


CIRCUMSTANCES = (
    Circumstance("a second time"),
    Circumstance("1 core", cores=1),
    Circumstance("1 batch of people", settings={"batches": 1}),
    Circumstance("5 batches of people", settings={"batches": 5}),
    Circumstance("2 threads in numerical libraries", environment={"OMP_NUM_THREADS": "2", "OPENBLAS_NUM_THREADS": "2"}),
    Circumstance("LC_ALL=de_DE.UTF-8", environment={"LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8"}),
    Circumstance("LC_ALL=C", environment={"LC_ALL": "C", "LANG": "C"}),
    Circumstance("TZ=Pacific/Kiritimati", environment={"TZ": "Pacific/Kiritimati"}),
    Circumstance("PYTHONHASHSEED=7", environment={"PYTHONHASHSEED": "7"}),
    Circumstance("another working folder", elsewhere=True),
)
"""The first run has 2 cores, the settings' batches, 1 thread, the locale and time zone of the system, a random seed of
hashes."""


TOGETHER = (
    Circumstance(
        "at once: 1 core, 2 threads in numerical libraries, LC_ALL=de_DE.UTF-8, TZ=Pacific/Kiritimati, "
        "PYTHONHASHSEED=7, another working folder",
        cores=1,
        environment={
            "OMP_NUM_THREADS": "2", "OPENBLAS_NUM_THREADS": "2", "LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8",
            "TZ": "Pacific/Kiritimati", "PYTHONHASHSEED": "7",
        },
        elsewhere=True,
    ),
    Circumstance("at once: 5 batches, LC_ALL=C", settings={"batches": 5}, environment={"LC_ALL": "C", "LANG": "C"}),
)  # fmt: skip
"""The same in two runs, for when there is little time: what differs would then have to be told apart."""


def run_of(
    work: Path, name: str, circumstance: Circumstance, targets: tuple[str, ...] = (), *, demo: bool = False
) -> Run:
    """Work the study through: always under the same names, in a folder of its own."""
    folder = work / (f"{name} ü elsewhere" if circumstance.elsewhere else name)
    settings = {"study": "study", **({name: {} for name in SMALL} if demo else {}), **circumstance.settings}
    folder.mkdir()
    shutil.copytree(work / "study", folder / "study")
    threads = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    environment = threads | dict(circumstance.environment)
    run = Run(folder, folder / "study", targets, settings, circumstance.cores, environment)
    if run.finish(timeout_s=3600) != 0:
        sys.exit(run.said())
    return run


def compared(first: Mapping[str, str], run: Run, circumstance: Circumstance) -> tuple[int, list[str]]:
    """Count the files compared and name those that differ."""
    own = contents(run.results)
    names = [name for name in first.keys() | own.keys() if not name.startswith(circumstance.may_differ or ("\0",))]
    return len(names), [name for name in different(first, own) if name in names]


def main() -> int:
    """Run, compare, report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("report", nargs="?", type=Path)
    parser.add_argument("--demo", action="store_true")
    parser.add_argument("--together", action="store_true", help="all at once, in two runs")
    given = parser.parse_args()
    work = Path(tempfile.mkdtemp(prefix="same-"))
    if given.demo:
        shutil.copytree(ROOT / "demo_raw", work / "study")
    else:
        small_study(work / "study", PEOPLE)
    first = contents(run_of(work, "first", Circumstance("first"), demo=given.demo).results)
    locales = subprocess.run(["locale", "-a"], capture_output=True, text=True, check=False).stdout.lower()
    rows, wrong = [], 0
    for number, circumstance in enumerate(TOGETHER if given.together else CIRCUMSTANCES):
        run = run_of(work, f"run-{number}", circumstance, demo=given.demo)
        n, found = compared(first, run, circumstance)
        lacking = "de_DE" in circumstance.words and "de_de" not in locales
        missing = " (de_DE is not installed here)" if lacking else ""
        rows.append((circumstance.words + missing, str(n), ", ".join(found[:5]) if found else "none"))
        print(*rows[-1], sep=": ", flush=True)
        wrong += bool(found)
        if not found:
            shutil.rmtree(run.folder)
    study = "the demo" if given.demo else f"a small study of {PEOPLE} people"
    text = (
        f"The results folder of {study}, made in other circumstances than the first time; files are "
        "compared by SHA-256. With other batches the files that are made by batch, and those that write the "
        "settings down, are others; everything else is compared: all tables, validation, models, figures, pages and "
        "the kit for a paper. What may differ between two runs lives in one file, `.strainstudy-results.txt.run`: "
        f"process, host and time of the last run.\n\n{table(('changed', 'files compared', 'files that differ'), rows)}"
    )
    if given.report is None:
        print(text)
    else:
        title = "The same bytes: the demo" if given.demo else "The same bytes"
        options = "".join(f" --{name}" for name in ("demo", "together") if getattr(given, name))
        write_section(given.report, title, f"tests/experiments/same_bytes.py{options}", text)
    if not wrong:
        shutil.rmtree(work)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
