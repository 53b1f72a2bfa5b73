"""Compare a results folder with its manifest: ``python -m strainstudy.provenance.verify RESULTS``.

In: a results folder; the study it was made from, where that is still there. Out: which files have changed, are missing,
or are there without being listed. Reads only. Exit status 1 where something has changed or is missing.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from ..errors import Problem, StudyError
from ..io.ledger import LEDGER, MARKER, read_ledger, read_marker
from ..io.running import JOBS, RUN
from ..tables.spec import read_described
from .crate import CRATE
from .manifest import MANIFEST, sha256_of

__all__ = ["Comparison", "compare", "main"]

_ONCE_MORE = "name the results folder of a run that ended well"


@dataclass(frozen=True)
class Comparison:
    """What became of the files of a manifest.

    Parameters
    ----------
    same : int
        Files whose content is what the manifest says.
    changed, missing, new : tuple of str
        Names of files: of other content; not there; there, but neither listed nor the run's own. Names of inputs begin
        with ``study: ``.
    not_looked_at : tuple of str
        What could not be compared, and why.
    """

    same: int
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    new: tuple[str, ...]
    not_looked_at: tuple[str, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether everything that was looked at is as it was."""
        return not (self.changed or self.missing)


def _listed(results: Path) -> dict[str, dict[str, str]]:
    """Read the hashes of the manifest by role and file."""
    path = results / MANIFEST.path
    if not path.is_file():
        raise StudyError([Problem(str(results), f"no {MANIFEST.path}, so there is nothing to compare", _ONCE_MORE)])
    try:
        table = read_described(path)
        rows = table[["role", "file", "sha256"]].itertuples(index=False)
    except (OSError, ValueError, KeyError) as error:
        raise StudyError([Problem(MANIFEST.path, f"cannot be read ({error})", _ONCE_MORE)]) from error
    found: dict[str, dict[str, str]] = {"input": {}, "setting": {}, "model": {}, "output": {}}
    for role, file, digest in rows:
        found.setdefault(role, {})[file] = digest
    return found


def _crate_differs(results: Path, outputs: dict[str, str]) -> list[str]:
    """Find outputs of which crate and manifest say different things: one of the two was changed."""
    path = results / CRATE
    if not path.is_file():
        return []
    try:
        graph = json.loads(path.read_text(encoding="utf-8"))["@graph"]
        told = {entity["name"]: entity["sha256"] for entity in graph if str(entity.get("@id", "")).startswith("../")}
    except (ValueError, KeyError, TypeError):
        return [CRATE]
    return [MANIFEST.path] if told != outputs else []


def _hashed(root: Path, files: Iterable[tuple[str, str]], before: str) -> tuple[int, list[str], list[str]]:
    same, changed, missing = 0, [], []
    for name, digest in files:
        path = root / name
        if not path.is_file():
            missing.append(before + name)
        elif sha256_of(path) != digest:
            changed.append(before + name)
        else:
            same += 1
    return same, changed, missing


def compare(results: Path, *, study: Path | None = None, made_again: Path | None = None) -> Comparison:
    """Hash the files that a manifest lists and compare.

    Parameters
    ----------
    results : Path
        Results folder with the manifest.
    study : Path, optional
        Study folder; that of the folder's marker if not given.
    made_again : Path, optional
        Results folder of another run, whose outputs are held to this manifest instead; inputs are left out then.

    Returns
    -------
    Comparison

    Raises
    ------
    StudyError
        If there is no manifest, or a folder that is named is not there.
    """
    for folder in (results, study, made_again):
        if folder is not None and not folder.is_dir():
            raise StudyError([Problem(str(folder), "there is no such folder", "correct the path")])
    listed = _listed(results)
    outputs, inputs = listed["output"], listed["input"]
    looked_in = results if made_again is None else made_again
    same, changed, missing = _hashed(looked_in, outputs.items(), "")
    apart = []
    if made_again is None:
        changed += _crate_differs(results, outputs)
        marker = read_marker(results)
        if study is None and marker is not None and marker.study is not None:
            study = results / marker.study
        if study is not None and study.is_dir():
            more, other, gone = _hashed(study, inputs.items(), "study: ")
            same, changed, missing = same + more, changed + other, missing + gone
        else:
            apart.append(f"{len(inputs)} files of the study, which is not where it was (name it with --study)")
    apart += [f"the settings file {name}, whose folder is not recorded" for name in listed["setting"]]
    apart += [f"the model's file {name}, whose folder is not recorded" for name in listed["model"]]
    ours = {*outputs, *read_ledger(looked_in).names, MARKER, LEDGER, RUN, JOBS}
    there = (p.relative_to(looked_in).as_posix() for p in looked_in.rglob("*") if p.is_file())
    new = tuple(sorted(name for name in there if name not in ours))
    return Comparison(same, tuple(sorted(changed)), tuple(sorted(missing)), new, tuple(apart))


def _text(found: Comparison) -> str:
    lines = [f"{found.same} files are as the manifest says."]
    for title, names in (
        ("changed", found.changed),
        ("missing", found.missing),
        ("new: neither listed nor written by the run", found.new),
        ("not looked at", found.not_looked_at),
    ):
        if names:
            lines += [f"{len(names)} {title}:", *(f"  {name}" for name in names)]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Compare the folder named on the command line."""
    parser = argparse.ArgumentParser(prog="python -m strainstudy.provenance.verify", description=__doc__)
    parser.add_argument("results", type=Path, help="results folder")
    parser.add_argument("--study", type=Path, help="study folder, where it was moved")
    parser.add_argument("--made-again", type=Path, help="results folder of a second run to hold to this manifest")
    given = parser.parse_args()
    try:
        found = compare(given.results, study=given.study, made_again=given.made_again)
    except StudyError as error:
        sys.exit(str(error))
    sys.stdout.write(_text(found))
    sys.exit(0 if found.whole else 1)


if __name__ == "__main__":
    main()
