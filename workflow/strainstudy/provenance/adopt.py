"""Take over results of a version that kept no ledger: ``python -m strainstudy.provenance.adopt FOLDER``.

In: a results folder with the manifest of an earlier version. Out: our marker and ledger in it, no other file touched.
Ours are the files that the manifest lists and whose content is still what it says, and files between stages that stand
under one of the fixed names of that version. All else in the folder stays the user's own.
"""

from __future__ import annotations

import argparse
import re
import sys
from pathlib import Path

from ..batches import joined_batches
from ..errors import Problem, StudyError
from ..io.labels import LABEL_SUFFIX
from ..io.ledger import LEDGER, MARKER, adopt, read_ledger, read_marker
from ..paper.kinds import PAPER_KINDS
from ..report.kinds import KINDS
from ..tables.classifier import EVIDENCE
from ..tables.throat import THROAT_EVIDENCE
from .manifest import MANIFEST, sha256_of
from .origin import BESIDE

__all__ = ["earlier_files", "main"]

_OF_A_BATCH = {
    "calibrate": ("parquet", "maps.json", "calibrations.json", "notes.json"),
    "condition": ("parquet", "notes.json"),
    "derive": (),
    "drawings": ("json",),
    "features": ("windows.parquet",),
    "ingest": ("parquet", "quality.json"),
    "people": ("json",),
    "review": ("json",),
    "segment": (
        "candidates.parquet", "events.parquet", "knee_bends.parquet", "notes.json", "states.parquet",
        "strides.parquet",
    ),
}  # fmt: skip
_OF_A_PART = ("drawings", "people")
"""Stages on several batches at once, each of which had jobs of its own in earlier versions."""
_OF_A_KIND = {"figures": KINDS, "paper_figures": PAPER_KINDS}
_CHARACTERISE = ("curves", "cycles", "loops", "sensors", "steps", "uses")
_TRAIN = ("bouts", "candidates", "label_next", "rule_bouts")
_MEASURED = ("bouts", "curves", "events", "gait", "swallow_summary")
_STUDY_JOBS = (
    "characterise",
    "classify",
    "measure",
    "paper",
    "provenance",
    "report",
    "review_shared",
    "tabulate",
    "train",
    "validate",
)
_LEARNING = ("classify", "train")
"""Stages that learn, now and in earlier versions, in which `classify` measured."""
_MEASURING = ("measure", "classify")
"""Stages that measure, in the same order."""
_TIME_STAMPS = ("figures/.snakemake_timestamp", "stages/train/evidence/.snakemake_timestamp")
_HISTORY = "model/history.tsv"
_BATCH = re.compile(r"signals/([A-Za-z0-9_-]+)\.parquet")
_NUMBERED = re.compile(r"people-[0-9]+")
_LABELS = re.compile(rf"labels/[^/]+/([A-Za-z0-9_-]+){re.escape(LABEL_SUFFIX)}")


def _listed(results: Path) -> tuple[dict[str, str], set[str]]:
    """Read the outputs of the manifest with their hashes, and the names of its inputs."""
    lines = (results / MANIFEST.path).read_text(encoding="utf-8").splitlines()
    if not lines or lines[0].split("\t") != list(MANIFEST.names):
        message = "not the manifest of a strainstudy run"
        raise StudyError([Problem(MANIFEST.path, message, "name the results folder of one")])
    rows = [line.split("\t") for line in lines[1:]]
    whole = [row for row in rows if len(row) == len(MANIFEST.names)]
    return {row[1]: row[3] for row in whole if row[0] == "output"}, {row[1] for row in whole if row[0] == "input"}


def _between_stages(batches: list[str], raters: set[str]) -> list[str]:
    """Name the files of an earlier version that no manifest lists."""
    names = [f"stages/{s}/{b}.{end}" for s, ends in _OF_A_BATCH.items() for b in batches for end in ends]
    names += [f"logs/{stage}/{batch}.log" for stage in _OF_A_BATCH for batch in batches]
    names += [name for rater in raters for name in (f"stages/labels/{rater}.parquet", f"logs/labels/{rater}.log")]
    names += [f"logs/{job}.log" for job in _STUDY_JOBS]
    parts = {stage: joined_batches(filter(_NUMBERED.fullmatch, batches)) for stage in _OF_A_PART}
    for stage, jobs in {**parts, **_OF_A_KIND}.items():
        names += [name for job in jobs for name in (f"stages/{stage}/{job}.json", f"logs/{stage}/{job}.log")]
    names += [f"stages/characterise/{name}.parquet" for name in _CHARACTERISE]
    names += ["stages/tabulate/recordings.parquet"]
    names += [f"stages/{stage}/{name}.parquet" for stage in _LEARNING for name in _TRAIN]
    names += [f"stages/{stage}/{name}.parquet" for stage in _MEASURING for name in _MEASURED]
    evidence = (*EVIDENCE, *THROAT_EVIDENCE)
    names += [f"stages/{stage}/evidence/{name}.parquet" for stage in _LEARNING for name in evidence]
    names += ["provenance/manifest.tsv", "provenance/manifest.json", "provenance/ro-crate-metadata.json"]
    names += [f"provenance/{name}" for name in BESIDE]
    return [*names, *_TIME_STAMPS]


def earlier_files(results: Path) -> list[str]:
    """Find the files that an earlier version wrote.

    Parameters
    ----------
    results : Path
        Its results folder.

    Returns
    -------
    list of str
        Names relative to ``results``, sorted.

    Raises
    ------
    StudyError
        If the folder has no manifest, or a file that is none.
    """
    if not (results / MANIFEST.path).is_file():
        message = f"no {MANIFEST.path}, so nothing shows which files strainstudy wrote"
        raise StudyError([Problem(str(results), message, "name another results folder in the config")])
    listed, read = _listed(results)
    found = [name for name, digest in listed.items() if _is_whole(results, name, digest)]
    batches = [match[1] for name in listed if (match := _BATCH.fullmatch(name))]
    raters = {match[1] for name in read if (match := _LABELS.fullmatch(name))}
    found += [name for name in _between_stages(batches, raters) if _is_own(results, name)]
    if Path(_HISTORY).with_suffix(".json").as_posix() in found and _is_own(results, _HISTORY):
        found.append(_HISTORY)
    return sorted(set(found))


def _is_own(results: Path, name: str) -> bool:
    path = results / name
    return path.is_file() and path.resolve().is_relative_to(results.resolve())


def _is_whole(results: Path, name: str, digest: str) -> bool:
    return _is_own(results, name) and sha256_of(results / name) == digest


def main() -> None:
    """Take over the folder named on the command line."""
    parser = argparse.ArgumentParser(prog="python -m strainstudy.provenance.adopt", description=__doc__)
    parser.add_argument("folder", type=Path, help="results folder of an earlier version")
    results: Path = parser.parse_args().folder
    try:
        if read_marker(results) is not None and (results / LEDGER).is_file() and not read_ledger(results).changed:
            raise StudyError([Problem(MARKER, "is there: the folder is taken over already", "run the study")])
        names = earlier_files(results)
    except StudyError as error:
        sys.exit(str(error))
    adopt(results, names)
    sys.stdout.write(f"{results}: {len(names)} files taken over, none changed; now run the study.\n")


if __name__ == "__main__":
    main()
