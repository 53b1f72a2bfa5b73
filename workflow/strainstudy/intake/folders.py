"""The folders that the config names: the study, the results, a given model; what would go wrong with them later.

In: a config as read from YAML. Out: problems. Looks at folders, writes nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from ..errors import Problem, StudyError
from ..io.places import fault_of, lies_in, places_of
from ..records import Study
from .contributors import CONTRIBUTORS
from .files import LABELS
from .shipped import RULE, choose_model, shipped_folder, shipped_names

__all__ = ["input_problems", "model_problems", "path_problems", "results_of"]

_WILD = "{}*?\n"
_NAMED = ("study", "results", "model", "norms")
_REPOSITORY = Path(__file__).resolve().parents[3]
_OWN_FOLDERS = (
    ".cache", ".git", ".github", ".snakemake", ".venv", "config", "demo_raw", "docs", "tests", "workflow",
)  # fmt: skip
_ELSEWHERE = "name a folder of their own"
Fault = tuple[str, str]


def _text_fault(name: str, value: str) -> Fault | None:
    if not value.strip():
        return "no path", "name a folder" if name != "norms" else "name a file"
    if value.startswith("~"):
        return "the home folder is not filled in here", "write it out in place of ~"
    wild = sorted(set(value) & set(_WILD))
    if wild:
        return f"a path with {' '.join(map(repr, wild))}, which the engine takes for a pattern", "rename the folder"
    fault = fault_of(Path(value))
    return None if fault is None else (fault, "correct it, or name another")


def _home() -> Path | None:
    """Give the home folder; an account in a container may have none."""
    try:
        return Path.home()
    except RuntimeError:
        return None


def _reserved_fault(results: Path) -> Fault | None:
    """Say what of the user's or of this project's would be mixed with results there."""
    if lies_in(Path.cwd(), results):
        return "results would be written into the working folder itself, or above it", _ELSEWHERE
    home = _home()
    if home is not None and lies_in(home, results):
        return "results would be written into the home folder itself, or above it", _ELSEWHERE
    if lies_in(_REPOSITORY, results):
        return "results would be written into the folder of this project, or above it", _ELSEWHERE
    for name in _OWN_FOLDERS:
        if lies_in(results, _REPOSITORY / name):
            return f"results would be written into {name}, a folder of this project", _ELSEWHERE
    return None


def _results_fault(results: Path, study: Path | None) -> Fault | None:
    if study is not None and lies_in(results, study) and lies_in(study, results):
        return "results would be written into the study folder itself", "name another folder"
    if study is not None and any(lies_in(place, results) for place in (study, study.absolute().parent)):
        return f"the study {study} lies in it", _ELSEWHERE
    if study is not None and lies_in(results, study / LABELS):
        return "results and the study's own files would be mixed", "name another folder"
    fault = _reserved_fault(results)
    if fault is not None:
        return fault
    for place in (results, *results.parents):
        if place.is_symlink() and not place.exists():
            return f"{place} is a link that leads nowhere", "remove it, or name another folder"
    here = Path(os.path.realpath(results))
    existing = next(path for path in (here, *here.parents) if path.exists())
    if not existing.is_dir():
        return f"{existing} is a file", "name a folder"
    if not os.access(existing, os.R_OK | os.W_OK | os.X_OK):
        return f"{existing} may not be written to", "name another folder, or have its permissions changed"
    return None


def results_of(value: str) -> Path:
    """Give the results folder as the engine writes to it: ``a/..`` is nothing, even where ``a`` is a link."""
    return Path(os.path.normpath(value))


def path_problems(config: Mapping[str, Any], file: str) -> list[Problem]:
    """Find paths in a config that cannot work, before anything is read or written.

    Parameters
    ----------
    config : mapping
        As read from YAML; entries of the wrong kind are passed over.
    file : str
        Name of the config files for the messages.

    Returns
    -------
    list of Problem
        One for each path at most.
    """
    given = {name: value for name in _NAMED if isinstance(value := config.get(name), str)}
    faults = {name: _text_fault(name, value) for name, value in given.items()}
    if "results" in given and faults["results"] is None:
        study = Path(given["study"]) if "study" in given and faults["study"] is None else None
        faults["results"] = _results_fault(results_of(given["results"]), study)
    return [
        Problem(file, *fault, column=name, value=given[name]) for name, fault in faults.items() if fault is not None
    ]


def input_problems(config: Mapping[str, Any], study: Study | None, files: Iterable[Path], file: str) -> list[Problem]:
    """Find files that a run reads where it writes: each folder once, with one of its files.

    Parameters
    ----------
    config : mapping
        As read from YAML, without a fault in ``results``.
    study : Study or None
        The study; None if it cannot be read.
    files : iterable of Path
        Config files.
    file : str
        Name of the config files for the messages.

    Returns
    -------
    list of Problem
    """
    results, norms, model = (config.get(name) for name in ("results", "norms", "model"))
    if not isinstance(results, str):
        return []
    folder = results_of(results)
    read = [*files, *([Path(norms)] if isinstance(norms, str) else [])]
    if study is not None:
        read += [*study.sheets, study.root / CONTRIBUTORS.file]
        read += [
            path for recording in study.recordings.values() for path in (recording.path, *recording.labels.values())
        ]
    message, remedy = "is read by this run and lies in the folder that it writes to", f"{_ELSEWHERE}, or move the file"
    problems = [
        Problem(file, f"{one} {message}", remedy, column="results", value=results)
        for place, one in places_of(read).items()
        if lies_in(place, folder)
    ]
    if isinstance(model, str) and lies_in(folder, Path(model)) and not lies_in(Path(model), folder):
        fault = ("results would be written into the folder of the given model", _ELSEWHERE)
        problems.append(Problem(file, *fault, column="results", value=results))
    return problems


def model_problems(config: Mapping[str, Any], file: str) -> list[Problem]:
    """Find out whether the model that a config names can be used; without one nothing is imported or read."""
    model, results = config.get("model"), config.get("results")
    problems = _company_problems(config, file)
    if not isinstance(model, str) or model == RULE or problems or _text_fault("model", model) is not None:
        return problems
    folder = choose_model(model).named or Path(model)
    if folder == Path(folder.name) and not folder.exists():
        message = "no model of this name comes along, and there is no such folder"
        names = ", ".join([*shipped_names(), RULE])
        remedy = f"use one of: {names}; or name the model/ folder of a strainstudy run"
        return [Problem(file, message, remedy, column="model", value=model)]
    if isinstance(results, str) and any(
        lies_in(place, results_of(results)) for place in (folder, folder.absolute().parent)
    ):
        message = "the model of these results themselves, which this run writes anew"
        return [Problem(file, message, "copy it elsewhere first, and name the copy", column="model", value=model)]
    from ..gait.model_card import GAIT_MODEL  # scikit-learn takes longer to start than all other checks
    from ..learn.external import read_external
    from ..swallow.model_card import SWALLOW_MODEL

    try:
        given = read_external(folder, {"gait": GAIT_MODEL, "swallow": SWALLOW_MODEL})
    except StudyError as error:
        return list(error.problems)
    if _prevalence(config) is not None and "gait" in given and given["gait"].card["data"].get("prevalence") is None:
        message = "the card of the model does not say how much of its training was limping"
        remedy = "leave classify.prevalence out, or train that model again"
        return [Problem(file, message, remedy, column="classify.prevalence", value=str(_prevalence(config)))]
    return []


def _prevalence(config: Mapping[str, Any]) -> Any:
    section = config.get("classify")
    return section.get("prevalence") if isinstance(section, Mapping) else None


def _company_problems(config: Mapping[str, Any], file: str) -> list[Problem]:
    """Find a setting ``train_with`` that names nothing, or stands beside a model that leaves nothing to train."""
    model, company = config.get("model"), config.get("train_with")
    if not isinstance(company, str):
        return []
    folder = shipped_folder(company)
    if folder is None:
        remedy = f"use one of: {', '.join(shipped_names())}"
        return [Problem(file, "no model of this name comes along", remedy, column="train_with", value=company)]
    if isinstance(model, str) and model != RULE:
        message = "nothing is trained where a model is given"
        return [Problem(file, message, "leave out model, or train_with", column="train_with", value=company)]
    said = json.loads((folder / "card.json").read_text(encoding="utf-8"))["data"]["windows_sha256"]
    if said != hashlib.sha256((folder / "windows.tsv").read_bytes()).hexdigest():
        message, remedy = (
            "its windows are not those that its card describes",
            "copy the whole folder anew, byte for byte",
        )
        return [Problem(str(folder / "windows.tsv"), message, remedy, column="train_with", value=company)]
    return []
