"""The settings that a model rests on: those of its training and of every stage that its features went through.

In: the settings a study ran with, by section. Out: those that reach the model of a subject, as plain values for its
card, their hash, and what two studies differ in. A setting added to a section counts by itself; one that only changes
tables, intervals, grades or the other subject is named in `_NOT_OF`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

from .errors import some_of

__all__ = ["UPSTREAM", "Values", "difference_words", "settings_words", "upstream_settings"]

Values = Mapping[str, Mapping[str, Any]]

UPSTREAM: Final[Mapping[str, tuple[str, ...]]] = {
    "gait": ("ingest", "calibrate", "condition", "gait", "features", "classify"),
    "swallow": ("ingest", "condition", "swallow", "classify"),
}
"""Sections by subject, in the order of the config file; those of calibrate are of knees alone."""

_GRADES: Final = ("ingest.degraded_missing", "ingest.degraded_clipped")
_TABLES: Final = ("classify.permutations", "classify.bootstrap_resamples", "classify.label_next_rows")
# Both limits of the rule leave the side that it points to as it is, which is all that training asks it.
_BOUTS: Final = (
    "classify.bout_min_s",
    "classify.probability_min",
    "classify.swing_ratio_limit",
    "classify.coordination_limit_percent",
    "classify.prevalence",
)
_NOT_OF: Final[Mapping[str, frozenset[str]]] = {
    "gait": frozenset(
        {
            *_GRADES,
            *_TABLES,
            *_BOUTS,
            "condition.throat_lowpass_hz",
            "condition.bench_lowpass_hz",
            "gait.strides_min",
            "gait.bootstrap_resamples",
            "gait.seed",
            "gait.stride_persistence",
            "classify.swallow_families",
            "classify.swallow_probability_min",
        }
    ),
    "swallow": frozenset(
        {
            *_GRADES,
            *_TABLES,
            *_BOUTS,
            "condition.knee_lowpass_hz",
            "condition.bench_lowpass_hz",
            "swallow.double_swallow_s",
            "swallow.burst_interval_s",
            "swallow.clearing_pause_s",
            "classify.families",
            "classify.label_overlap_min",
        }
    ),
}
_MOST_NAMED: Final = 6
"""Settings that a caution names one by one (ours)."""


def upstream_settings(settings: Values, subject: str) -> dict[str, dict[str, Any]]:
    """Take the settings that a subject's model rests on.

    Parameters
    ----------
    settings : mapping of section to mapping of name to value
        Those of `UPSTREAM` at least.
    subject : {'gait', 'swallow'}

    Returns
    -------
    dict of section to dict of name to value
        As they come back from JSON: lists for tuples.

    Raises
    ------
    KeyError
        If a section is not there.
    """
    kept = {
        section: {
            name: value for name, value in settings[section].items() if f"{section}.{name}" not in _NOT_OF[subject]
        }
        for section in UPSTREAM[subject]
    }
    plain: dict[str, dict[str, Any]] = json.loads(json.dumps(kept))
    return plain


def settings_words(kept: Values) -> str:
    """Write what `upstream_settings` gave as one text to hash; the order of sections and names does not change it."""
    return json.dumps(kept, sort_keys=True)


def _shown(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(_shown, value))
    return f"{value:g}" if isinstance(value, float) else str(value)


def difference_words(theirs: Any, ours: Values) -> str | None:
    """Say in which settings a model of another study was made otherwise than this study runs.

    Parameters
    ----------
    theirs : mapping of section to mapping of name to value
        ``settings`` of its card; anything else stands for a card that does not tell them.
    ours : mapping
        From `upstream_settings`.

    Returns
    -------
    str or None
        None where nothing differs.
    """
    if not isinstance(theirs, Mapping) or not all(isinstance(part, Mapping) for part in theirs.values()):
        return "its card does not say under which settings the model was made"
    flat = [
        {f"{section}.{name}": value for section, part in side.items() for name, value in part.items()}
        for side in (theirs, ours)
    ]
    said = []
    for name in sorted({*flat[0], *flat[1]}):
        was, here = ("not there" if name not in side else _shown(side[name]) for side in flat)
        if any(name not in side for side in flat) or flat[0][name] != flat[1][name]:
            said.append(f"{name} {was} (here {here})")
    if not said:
        return None
    return f"the model was made under other settings: {some_of(said, _MOST_NAMED)}"
