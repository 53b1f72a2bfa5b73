"""The last job: a manifest of everything that went in and came out, and the run as an RO-Crate."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from ..io.frames import write_json
from ..jobs import Progress
from ..provenance.crate import run_crate
from ..provenance.manifest import MANIFEST, list_files
from ..tables import write_table

__all__ = ["run"]

PACKAGES = ("matplotlib", "numpy", "pandas", "pyarrow", "scikit-learn", "scipy", "skops", "snakemake")
RELEASED = "2026-11-25"
RESULT_FOLDERS = ("tables", "signals", "validation", "model", "figures")


def _date() -> str:
    """Give the date of SOURCE_DATE_EPOCH (reproducible-builds.org), else that of this release, never the clock's."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    return RELEASED if epoch is None else datetime.fromtimestamp(int(epoch), UTC).date().isoformat()


def run(*, study: Path, inputs: Sequence[Path], settings: Sequence[Path], results: Path, progress: Progress) -> None:
    """Write ``provenance/manifest.tsv`` and ``provenance/ro-crate-metadata.json``.

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
    outputs = [p for folder in RESULT_FOLDERS for p in (results / folder).rglob("*") if p.is_file()]
    outputs = [p for p in outputs if p.name != "history.tsv" and not p.name.startswith(".")]
    given = [list_files("setting", path.parent, [path]) for path in settings]
    made = list_files("output", results, [*outputs, results / "report.html"])
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
    progress.say(f"{len(manifest)} files")
