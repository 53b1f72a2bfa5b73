"""Everything that is looked at before any work: settings, sheets, labels, norms, a given model; all faults at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..config import StudyConfig, check_config, load_config
from ..errors import Problem, StudyError
from ..study import Study, load_study
from ..validate.norms import read_norms
from .claims import folder_problems
from .places import input_problems, model_problems, path_problems

__all__ = ["check_all", "reference_rater"]


def check_all(
    config: Mapping[str, Any], file: str, files: Sequence[Path] = ()
) -> tuple[StudyConfig, dict[str, Any], Study]:
    """Check a config and the study folder it names.

    Parameters
    ----------
    config : mapping
        As read from YAML, defaults merged in.
    file : str
        Name of the config files for the messages.
    files : sequence of Path, optional
        The config files, which must not lie where results are written.

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
    places = path_problems(config, file)
    root, study = config.get("study"), None
    if isinstance(root, str) and not any(problem.column == "study" for problem in places):
        try:
            study = load_study(Path(root))
        except StudyError as error:
            problems += error.problems
    if not places and isinstance(root, str) and isinstance(config.get("results"), str):
        places = input_problems(config, study, files, file) or folder_problems(config["results"], root, file)
    problems += places + model_problems(config, file)
    if not any(problem.column == "norms" for problem in places):
        problems += _norm_problems(config)
    problems += _rater_problems(config, study, file)
    if problems or study is None:
        raise StudyError(problems)
    general, sections = load_config(config, file)
    return general, sections, study


def _norm_problems(config: Mapping[str, Any]) -> list[Problem]:
    norms = config.get("norms")
    if not isinstance(norms, str) or not norms.strip():
        return []
    try:
        read_norms(Path(norms), norms)
    except StudyError as error:
        return list(error.problems)
    return []


def _rater_problems(config: Mapping[str, Any], study: Study | None, file: str) -> list[Problem]:
    section = config.get("validate")
    wanted = section.get("reference_rater") if isinstance(section, Mapping) else None
    if study is None or not isinstance(wanted, str):
        return []
    raters = sorted({rater for recording in study.recordings.values() for rater in recording.labels})
    if wanted in raters:
        return []
    remedy = f"name one of: {', '.join(raters)}" if raters else "leave it out: the study has no labels"
    return [Problem(file, "this rater labelled nothing", remedy, column="validate.reference_rater", value=wanted)]


def reference_rater(study: Study, wanted: str | None) -> str | None:
    """Name the rater everything is compared with: the one wanted, else the one with most label files.

    Among equals the first in alphabetical order; None for a study without labels.
    """
    if wanted is not None:
        return wanted
    counts = Counter(rater for recording in study.recordings.values() for rater in recording.labels)
    return min(counts, key=lambda rater: (-counts[rater], rater)) if counts else None
