"""The folders that the config names: the study, the results, a given model; what would go wrong with them later.

In: a config as read from YAML. Out: problems. Looks at folders, writes nothing.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import Problem, StudyError
from .files import LABELS

__all__ = ["model_problems", "path_problems"]

_WILD = "{}*?\n"
_NAMED = ("study", "results", "model", "norms")


def _text_fault(name: str, value: str) -> tuple[str, str] | None:
    if not value.strip():
        return "no path", "name a folder" if name != "norms" else "name a file"
    if value.startswith("~"):
        return "the home folder is not filled in here", "write it out in place of ~"
    wild = sorted(set(value) & set(_WILD))
    if wild:
        return f"a path with {' '.join(map(repr, wild))}, which the engine takes for a pattern", "rename the folder"
    return None


def _results_fault(results: Path, study: Path) -> tuple[str, str] | None:
    here, root = results.resolve(), study.resolve()
    if here == root:
        return "results would be written into the study folder itself", "name another folder"
    if here == Path.cwd():
        return "results would be written into the working folder itself", "name a folder of their own"
    if root == here / "tables" or here.is_relative_to(root / LABELS):
        return "results and the study's own files would be mixed", "name another folder"
    existing = next(path for path in (here, *here.parents) if path.exists())
    if not existing.is_dir():
        return f"{existing} is a file", "name a folder"
    if not os.access(existing, os.W_OK | os.X_OK):
        return f"{existing} may not be written to", "name another folder, or have its permissions changed"
    return None


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
    problems = []
    for name in _NAMED:
        value = config.get(name)
        if not isinstance(value, str):
            continue
        fault = _text_fault(name, value)
        study = config.get("study")
        if fault is None and name == "results" and isinstance(study, str):
            fault = _results_fault(Path(value), Path(study))
        if fault is not None:
            problems.append(Problem(file, *fault, column=name, value=value))
    return problems


def model_problems(config: Mapping[str, Any], file: str) -> list[Problem]:
    """Find out whether the model that a config names can be used; without one nothing is imported or read."""
    model, results = config.get("model"), config.get("results")
    if not isinstance(model, str) or _text_fault("model", model) is not None:
        return []
    if isinstance(results, str) and Path(model).resolve().is_relative_to(Path(results).resolve()):
        message = "the model of these results themselves, which this run writes anew"
        return [Problem(file, message, "copy it elsewhere first, and name the copy", column="model", value=model)]
    from ..classify.external import read_external  # scikit-learn takes longer to start than all other checks
    from ..features import GAIT_FEATURES
    from ..swallow import SWALLOW_FEATURES

    try:
        read_external(Path(model), GAIT_FEATURES, SWALLOW_FEATURES)
    except StudyError as error:
        return list(error.problems)
    return []
