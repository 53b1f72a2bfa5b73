"""Measures, states and units as a reader says them: no name of a column reaches a page.

In: the words of result tables. Out: the same in plain words, with the unit; a word that is not known here is written
without its underscores, and a test holds every measure that is reported to be known.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

__all__ = ["CRITERIA", "DECIDED", "measured", "people_text", "spoken", "state", "unit", "with_unit"]

# One name is one quantity: asymmetries that have a sign are symmetry indices, (right - left) / mean; those without are
# sizes of the log ratio, which does not depend on the side that divides.
_MEASURES: Final[Mapping[str, str]] = {
    "cadence": "cadence",
    "stride_time_mean": "stride time, mean",
    "stride_time_sd": "stride time, standard deviation",
    "stride_time_cv": "stride-time variability (CV)",
    "step_time_mean": "step time, mean",
    "step_time_symmetry_index": "step-time asymmetry, right minus left",
    "step_time_log_ratio": "step-time asymmetry, log ratio",
    "stance_time_log_ratio": "stance-time asymmetry, log ratio",
    "swing_time_log_ratio": "swing-time asymmetry, log ratio",
    "range_of_motion_log_ratio": "asymmetry of the knee's range, log ratio",
    "range_of_motion_symmetry_index": "asymmetry of the knee's range, right minus left",
    "range_of_motion_mean": "knee's range in a stride",
    "swing_peak_mean": "peak knee flexion in swing",
    "stance_fraction_mean": "stance, part of the stride",
    "phase_deviation": "deviation of the phase from 180 degrees",
    "coordination_index": "phase coordination index",
    "waveform_likeness": "likeness of the knees' curves",
    "swallow_duration": "swallow, duration",
    "swallow_interval": "time between swallows",
    "swallow_rate": "swallows per minute, water tests apart",
    "swallow_rate_while_drinking": "swallows per minute in timed water tests",
    "spontaneous_swallow_rate": "swallows per minute without being asked",
    "volume_per_swallow": "water per swallow",
    "time_per_swallow": "time per swallow of water",
    "swallowing_speed": "drinking speed",
    "knee_bend_angle": "knee bend, angle held",
    "balanced_accuracy": "mean recall of the classes (balanced accuracy)",
    "side_right": "limping side right, turns counted as missed",
    "rest_resistance": "resistance at rest",
    "gauge_factor": "gauge factor",
    "noise": "noise",
    "normal_against_limping": "normal against limping gait",
}
_STATES: Final[Mapping[str, str]] = {
    "normal_gait": "normal gait",
    "limping_gait": "limping gait",
    "gait": "gait, not classified",
    "initial_contact": "initial contact",
    "toe_off": "toe-off",
    "knee_bend": "knee bend",
    "head_movement": "head movement",
    "out_of_fold": "classifier, person left out",
    "final": "stored classifier",
    "rule": "published rule",
    "classifier": "the classifier",
    "majority": "always the commonest",
    "amplitude_ratio": "ratio of the knees' amplitudes alone",
    "published_asymmetry": "published limits of asymmetry",
    "without_labels": "rule that needs no labels",
    "one_hump": "one-humped",
    "two_phase": "two-phase",
    "unknown": "nothing found",
    "gradient_boosting": "boosted trees",
    "logistic": "logistic regression",
    "left_knee": "left knee",
    "right_knee": "right knee",
    "fitted": "made",
    "yes": "read in the source",
    "quoted": "quoted elsewhere",
    "computed": "computed from open data",
}
_UNITS: Final[Mapping[str, str]] = {
    "1/min": "per minute",
    "percent": "%",
    "deg": "degrees",
    "1": "",
    "n/a": "",
    "signal": "unit of the signal",
}
_TALLIED: Final[Mapping[str, str]] = {
    "cadence": "steps per minute",
    "swallow_rate": "",
    "swallow_rate_while_drinking": "",
    "spontaneous_swallow_rate": "",
    "stance_fraction_mean": "1 = whole stride",
}
"""Units that a measure's own words already hold, or that want other words."""
DECIDED: Final[Mapping[str, str]] = {
    "out_of_fold": "by a classifier that never saw the person",
    "final": "by the stored classifier, the person having no labels",
    "rule": "by the rule that needs no labels",
}
CRITERIA: Final[Mapping[str, str]] = {"overlap": "overlap ≥ {}", "time": "±{} s", "centre": "centre ±{} s"}
"""How a detected event is matched to a labelled one."""


def _missing(word: Any) -> bool:
    return word is None or word is pd.NA or (isinstance(word, float) and word != word)


def spoken(word: Any) -> str:
    """Write a class, predictor, state or response shape as a reader says it; n/a if there is none."""
    if _missing(word):
        return "n/a"
    text = str(word)
    return _STATES.get(text) or _MEASURES.get(text) or text.replace("_", " ")


def state(word: Any) -> str:
    """Write a state of gait; nothing where a measure has none."""
    return "" if _missing(word) else spoken(word)


_ROLES: Final[Mapping[str, str]] = {
    "left": "left", "right": "right", "affected": "affected side", "other": "other side",
}  # fmt: skip
"""Whose side a measure's name ends with."""
_SIGN: Final = ", right minus left"
"""How words of a signed asymmetry end."""


def measured(name: Any) -> str:
    """Write a measure in words: the side behind it, and ``size`` for one whose sign was left out."""
    text = str(name)
    size = text.endswith("_size")
    text = text.removesuffix("_size")
    role = next((r for r in _ROLES if text.endswith(f"_{r}")), None)
    base = text.removesuffix(f"_{role}") if role else text
    words = _MEASURES.get(base, base.replace("_", " "))
    if role and words.endswith(_SIGN):
        return f"{words.removesuffix(_SIGN)}, affected minus other side"
    return words + (f", {_ROLES[role]}" if role else "") + (", without sign" if size else "")


def unit(name: Any, measure: Any = "") -> str:
    """Write a unit; nothing for a plain number."""
    base = str(measure).removesuffix("_left").removesuffix("_right")
    if base in _TALLIED:
        return _TALLIED[base]
    return "" if _missing(name) else _UNITS.get(str(name), str(name))


def with_unit(measure: Any, name: Any) -> str:
    """Write a measure with its unit in brackets."""
    own = unit(name, measure)
    return f"{measured(measure)} ({own})" if own else measured(measure)


def people_text(n: int) -> str:
    """Write a number of people."""
    return "1 person" if n == 1 else f"{n} people"
