"""The last job: a manifest of everything that went in and came out, and the run as an RO-Crate."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from ..errors import Problem, StudyError
from ..io.frames import write_json
from ..io.ledger import LEDGER, clear, read_ledger, settle
from ..jobs import Progress
from ..provenance.crate import run_crate
from ..provenance.manifest import MANIFEST, list_files
from ..review.names import INDEX
from ..tables import write_table

__all__ = ["run"]

PACKAGES = ("matplotlib", "numpy", "pandas", "pyarrow", "scikit-learn", "scipy", "skops", "snakemake")
RELEASED = "2026-11-25"
RESULT_FOLDERS = ("tables", "signals", "validation", "model", "figures", "review", "people", "paper")
PAGES = ("report.html", INDEX)
# It grows from run to run: the same inputs would not give the same manifest.
_LEFT_OUT = "model/history.tsv"


def _date() -> str:
    """Give the date of SOURCE_DATE_EPOCH (reproducible-builds.org), else that of this release, never the clock's."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    return RELEASED if epoch is None else datetime.fromtimestamp(int(epoch), UTC).date().isoformat()


def _counted(names: Sequence[str]) -> str:
    return f"{len(names)} file{'s' if len(names) != 1 else ''}"


def run(*, study: Path, inputs: Sequence[Path], settings: Sequence[Path], results: Path, progress: Progress) -> None:
    """Remove what this study no longer makes; write ``manifest.tsv`` and ``ro-crate-metadata.json`` of ``provenance/``.

    The terminal names the files removed. The log only counts them: their names may hold the id of a person withdrawn.

    Parameters
    ----------
    study : Path
        Study folder.
    inputs : sequence of Path
        Sheets, raw files and labels, all below it.
    settings : sequence of Path
        Config files and the table of norms.
    results : Path
        Results folder.
    progress : Progress
    """
    removed = clear(results)
    now = read_ledger(results).now
    if not now:
        message = "the list of what this run writes is missing, or was changed by other hands"
        raise StudyError([Problem(LEDGER, message, "run it again, without --no-hooks")])
    listed = (name for name in now if name.split("/")[0] in (*RESULT_FOLDERS, *PAGES) and name != _LEFT_OUT)
    outputs = [path for path in (results / name for name in listed) if path.is_file()]
    given = [list_files("setting", path.parent, [path]) for path in settings]
    made = list_files("output", results, outputs)
    manifest = pd.concat([list_files("input", study, inputs), *given, made], ignore_index=True)
    write_table(manifest, MANIFEST, results)
    crate = run_crate(
        manifest,
        name=study.name,
        date=_date(),
        version=version("strainstudy"),
        packages={package: version(package) for package in PACKAGES},
    )
    write_json(results / "provenance/ro-crate-metadata.json", crate)
    settle(results)
    for name in removed:
        progress.show(f"removed {name}")
    progress.say(f"{len(manifest)} files" + (f"; {_counted(removed)} of earlier runs removed" if removed else ""))
