"""The last job: a codebook, the tables as a data package, a manifest of all files, and the run as an RO-Crate."""

from __future__ import annotations

import os
import platform
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd
import yaml

from ..errors import Problem, StudyError, counted
from ..io.atomic import PART, write_bytes, write_text
from ..io.frames import write_json
from ..io.ledger import LEDGER, clear, read_ledger, settle
from ..jobs import Progress
from ..provenance.codebook import CODEBOOK, codebook_page
from ..provenance.crate import CRATE, Setting, run_crate
from ..provenance.datapackage import LARGE, PACKAGE, data_package, write_twin
from ..provenance.manifest import MANIFEST, list_files
from ..provenance.origin import BESIDE, LOCK, RUN_AGAIN, SETTINGS, WORKFLOW, origin_of, run_again_text
from ..records import Contributor
from ..review.names import INDEX
from ..tables import write_table

__all__ = ["run"]

PACKAGES = ("matplotlib", "numpy", "pandas", "pyarrow", "scikit-learn", "scipy", "skops", "snakemake")
RELEASED = "2026-11-25"
RESULT_FOLDERS = ("tables", "signals", "validation", "model", "figures", "review", "people", "paper")
PAGES = ("report.html", CODEBOOK, PACKAGE, INDEX)
# It grows from run to run: the same inputs would not give the same manifest.
_LEFT_OUT = "model/history.tsv"


def _date() -> str:
    """Give the date of SOURCE_DATE_EPOCH (reproducible-builds.org), else that of this release, never the clock's."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    return RELEASED if epoch is None else datetime.fromtimestamp(int(epoch), UTC).date().isoformat()


def _setting_rows(settings: Mapping[str, Any], words: Mapping[str, str]) -> list[Setting]:
    """Take the settings apart into dotted names, values and words."""
    rows = []
    for name, value in settings.items():
        entries = value.items() if isinstance(value, Mapping) else [(None, value)]
        for part, given in entries:
            dotted = name if part is None else f"{name}.{part}"
            rows.append((dotted, given, words.get(dotted, dotted)))
    return rows


def _plain(value: Any) -> Any:
    """Give settings as YAML reads them back: tuples as lists."""
    if isinstance(value, Mapping):
        return {name: _plain(entry) for name, entry in value.items()}
    return list(value) if isinstance(value, tuple) else value


def run(
    *,
    study: Path,
    inputs: Sequence[Path],
    setting_files: Sequence[Path],
    models: Mapping[Path, Sequence[Path]],
    settings: Mapping[str, Any],
    words: Mapping[str, str],
    contributors: Sequence[Contributor],
    project: Path,
    results: Path,
    progress: Progress,
) -> None:
    """Remove what this study no longer makes; describe what it makes, and how to make it again.

    Writes ``codebook.html``, ``datapackage.json``, the Parquet twins of large tables, and in ``provenance/``
    ``manifest.tsv``, ``ro-crate-metadata.json`` and the files of `BESIDE`. The terminal names the files removed. The
    log only counts those that were whole: their names may hold the id of a person withdrawn.

    Parameters
    ----------
    study : Path
        Study folder.
    inputs : sequence of Path
        Sheets, raw files and labels, all below it.
    setting_files : sequence of Path
        Config files and the table of norms.
    models : mapping of Path to sequence of Path
        Files that were read of models from elsewhere, by the folder of each model.
    settings : mapping
        Every setting in force, as a config file has them.
    words : mapping of str to str
        What each does, by dotted name.
    contributors : sequence of Contributor
        Who worked on the study.
    project : Path
        Root of this project, with its workflow and lock file.
    results : Path
        Results folder.
    progress : Progress
    """
    removed = clear(results)
    now = read_ledger(results).now
    if not now:
        message = "the list of what this run writes is missing, or was changed by other hands"
        raise StudyError([Problem(LEDGER, message, "run it again, without --no-hooks; as a module, with its onstart")])
    number = version("strainstudy")
    for table in LARGE:
        write_twin(results, table)
    # So that the package lists the manifest, which is filled after it, from the first run on.
    write_table(MANIFEST.empty(), MANIFEST, results)
    described = sorted(name for name in now if name.split("/")[0] in (*RESULT_FOLDERS, "provenance"))
    write_text(results / CODEBOOK, codebook_page(results, described, name=study.name))
    package = data_package(results, described, name=study.name, version=number, growing=[_LEFT_OUT])
    write_json(results / PACKAGE, package)
    listed = (name for name in now if name.split("/")[0] in (*RESULT_FOLDERS, *PAGES) and name != _LEFT_OUT)
    outputs = [path for path in (results / name for name in listed) if path.is_file()]
    given = [list_files("setting", path.parent, [path]) for path in setting_files]
    given += [list_files("model", folder.parent, files) for folder, files in models.items()]
    made = list_files("output", results, outputs)
    manifest = pd.concat([list_files("input", study, inputs), *given, made], ignore_index=True)
    write_table(manifest, MANIFEST, results)
    folder, origin = (results / CRATE).parent, origin_of(project)
    for name in (WORKFLOW, LOCK):
        write_bytes(folder / name, (project / name).read_bytes())
    write_text(folder / SETTINGS, yaml.safe_dump(_plain(settings), sort_keys=False, allow_unicode=True))
    again = run_again_text(name=study.name, version=number, python=platform.python_version(), origin=origin)
    write_text(folder / RUN_AGAIN, again)
    crate = run_crate(
        manifest,
        name=study.name,
        date=_date(),
        version=number,
        packages={package: version(package) for package in PACKAGES},
        settings=_setting_rows(settings, words),
        contributors=contributors,
        origin=origin,
        beside=[name for name in BESIDE if name != WORKFLOW],
    )
    write_json(results / CRATE, crate)
    settle(results)
    for name in removed:
        progress.show(f"removed {name}")
    # The log of a run that was killed and given again has the bytes of one that was not.
    whole = [name for name in removed if PART.fullmatch(Path(name).name) is None]
    gone = f"; {counted(len(whole), 'file')} of earlier runs removed" if whole else ""
    progress.say(counted(len(manifest), "file") + gone)
