"""Everything that is looked at before any work: settings, sheets, labels, norms, a given model; all faults at once."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..config import StudyConfig, check_config, load_config
from ..errors import Problem, StudyError
from ..gait.model_files import GAIT_FILES
from ..ingest.parameters import IngestParameters
from ..share.columns import share_problems
from ..share.parameters import ShareParameters
from ..study import Study, label_problems, load_study
from ..swallow.model_files import SWALLOW_FILES
from ..validate.norms import read_norms
from ..vocabulary import KNEES
from .claims import folder_problems
from .folders import input_problems, model_problems, path_problems
from .rules import IDENTIFIER
from .shipped import choose_model

__all__ = ["check_all", "look", "reference_rater"]


def check_all(
    config: Mapping[str, Any], file: str, files: Sequence[Path] = (), *, labels_read: bool = True
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
    labels_read : bool
        Whether to read the label files; `look` does it otherwise. They are read anyway where anything else is wrong,
        so that every problem is said at once.

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
            study = load_study(Path(root), labels_read=labels_read)
        except StudyError as error:
            problems += [*error.problems, *error.cautions]
    if not places and isinstance(root, str) and isinstance(config.get("results"), str):
        places = input_problems(config, study, files, file) or folder_problems(config["results"], root, file)
    lost = {problem.column for problem in places}
    of_model = model_problems(config, file)
    problems += places + of_model
    cautions: list[Problem] = []
    if study is not None and not of_model and "model" not in lost:
        cautions = _model_fit(config, study, file)
        problems += [problem for problem in cautions if not problem.caution]
    if "norms" not in lost:
        problems += _norm_problems(config)
    problems += _rater_problems(config, study, file) + _rater_name_problems(study)
    problems += _share_problems(config, study, file)
    if (problems or study is None) and not labels_read:
        return check_all(config, file, files)
    if problems or study is None:
        raise StudyError([*problems, *(() if study is None else study.cautions)])
    general, sections = load_config(config, file)
    return general, sections, replace(study, cautions=(*study.cautions, *cautions))


def look(
    study: Study,
    general: StudyConfig,
    ingest: IngestParameters,
    *,
    thorough: bool = False,
    labels_read: bool = True,
) -> tuple[Problem, ...]:
    """Open raw files of a checked study, before anything is run.

    Parameters
    ----------
    study : Study
        Or some recordings of it.
    general : StudyConfig
        Under ``strict`` what would reject or degrade a recording is a fault.
    ingest : IngestParameters
    thorough : bool
        Open all raw files; else those with labels alone, for what would be lost without a word.
    labels_read : bool
        Whether the label files were read when the study was loaded; else they are now.

    Returns
    -------
    tuple of Problem
        All cautions: of the sheets and of the files.

    Raises
    ------
    StudyError
        With every fault, such as labels beyond the end of their recording.
    """
    from .look import look_into_files

    found = look_into_files(
        study,
        gap_steps=ingest.gap_steps,
        rate_tolerance=ingest.rate_tolerance,
        strict=general.strict,
        only_labelled=not (thorough or general.strict),
    )
    problems = [*study.cautions, *([] if labels_read else label_problems(study)), *found]
    if not all(problem.caution for problem in problems):
        raise StudyError(problems)
    return tuple(problems)


def _share_problems(config: Mapping[str, Any], study: Study | None, file: str) -> list[Problem]:
    """Find columns that are to leave the lab and cannot; a fault of the setting itself is said elsewhere."""
    section = config.get("share")
    given = section.get("allow_columns") if isinstance(section, Mapping) else None
    if study is None or not isinstance(given, list) or not all(isinstance(name, str) for name in given):
        return []
    return share_problems(study, ShareParameters(allow_columns=tuple(given)), file)


def _model_fit(config: Mapping[str, Any], study: Study, file: str) -> list[Problem]:
    """Compare what a given model can tell with what the study records."""
    model = config.get("model")
    folder = choose_model(model).named if isinstance(model, str) else None
    if folder is None or not folder.is_dir():
        return []
    points = {channel.tracked_point for recording in study.recordings.values() for channel in recording.channels}
    needed = {"gait": bool(points & set(KNEES.values())), "swallows": "throat" in points}
    files = {"gait": GAIT_FILES, "swallows": SWALLOW_FILES}
    there = {name: (folder / files[name].model).is_file() for name in needed}
    lacking = [name for name in needed if needed[name] and not there[name]]
    if not lacking:
        return []
    serves = any(there[name] for name in needed if needed[name])
    message = f"the run it comes from trained no model of {' and '.join(lacking)}, which this study records"
    remedy = (
        "its own labels train one, or the rule stands in; name another model if that is not meant"
        if serves
        else "name the model/ folder of another run, or null"
    )
    return [Problem(file, message, remedy, column="model", value=model, caution=serves)]


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


def _rater_name_problems(study: Study | None) -> list[Problem]:
    """Find raters whose name cannot be that of a file of their own everywhere."""
    if study is None:
        return []
    first: dict[str, str] = {}
    for recording in study.recordings.values():
        for rater, path in recording.labels.items():
            first.setdefault(rater, path.relative_to(study.root).as_posix())
    problems: list[Problem] = []
    taken: dict[str, str] = {}
    for rater, file in sorted(first.items()):
        if re.fullmatch(IDENTIFIER, rater, re.ASCII) is None:
            message = f"{rater!r} cannot be the name of a rater"
            problems.append(Problem(file, message, "rename it: with letters, digits, '-' and '_'"))
        elif (other := taken.setdefault(rater.lower(), rater)) != rater:
            message = f"the raters {other} and {rater} differ in upper and lower case alone"
            problems.append(Problem(file, message, "give one another name: on some disks their files would be one"))
    return problems


def reference_rater(study: Study, wanted: str | None) -> str | None:
    """Name the rater everything is compared with: the one wanted, else the one with most label files.

    Among equals the first in alphabetical order; None for a study without labels.
    """
    if wanted is not None:
        return wanted
    counts = Counter(rater for recording in study.recordings.values() for rater in recording.labels)
    return min(counts, key=lambda rater: (-counts[rater], rater)) if counts else None
