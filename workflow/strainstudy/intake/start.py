"""Everything that is looked at before any work: settings, sheets, labels, norms, a given model; all faults at once."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..config import StudyConfig, check_config, load_config
from ..errors import Problem, StudyError
from ..study import Study, load_study

__all__ = ["check_all"]


def check_all(config: Mapping[str, Any], file: str) -> tuple[StudyConfig, dict[str, Any], Study]:
    """Check a config and the study folder it names.

    Parameters
    ----------
    config : mapping
        As read from YAML, defaults merged in.
    file : str
        Name of the config files for the messages.

    Returns
    -------
    StudyConfig
        What is not of one stage.
    dict of str to parameters
        One parameter object per section.
    Study
        The checked study.

    Raises
    ------
    StudyError
        With every problem of the settings and of every file of the study.
    """
    problems = check_config(config, file)
    root, study = config.get("study"), None
    if isinstance(root, str):
        try:
            study = load_study(Path(root))
        except StudyError as error:
            problems += error.problems
    results = config.get("results")
    if isinstance(root, str) and isinstance(results, str) and Path(results).resolve() == Path(root).resolve():
        problems.append(
            Problem(
                file, "results would be written into the study folder itself", "name another folder", None, "results"
            )
        )
    if problems or study is None:
        raise StudyError(problems)
    general, sections = load_config(config, file)
    return general, sections, study
