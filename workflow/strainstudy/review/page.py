"""One recording as a page: its signals, its labels by rater, and what the page needs to compare them.

In: traces, labels, the row of its quality. Out: HTML that loads what all pages share from ``review/assets`` and what
was detected from ``review/detected``, so that a changed label makes only the pages of its own batch anew.
"""

from __future__ import annotations

import hashlib
import html
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib.util import find_spec
from pathlib import Path
from string import Template
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ..io.store import Trace
from ..palette import KIND_COLOURS, POINT_COLOURS, SIDE_COLOURS, STATE_COLOURS
from ..records import Recording
from ..stats.spans import spans_of
from ..vocabulary import BODY_POINTS, CONFOUNDERS, EVENT_TYPES, LABELLED, SIDE_OF_POINT, STATES
from .names import ASSETS, detected_file, page_file
from .series import Thinning, packed_series, thinning_of

__all__ = ["Tolerances", "asset_texts", "detected_text", "index_text", "page_text"]

Floats = NDArray[np.float64]

_HERE: Final = Path(__file__).parent / "assets"
_SCRIPTS: Final = ("series.js", "compare.js", "marks.js", "plots.js", "page.js")
_AROUND_S: Final = 1.5
"""Of a long recording so much is kept whole before and after each event (ours)."""
_ANGLES: Final = ("angle", "angle_low", "angle_high", "reference_angle")
_DECIMALS: Final = 7
"""Of times and values on a page: finer than any label (ours)."""


@dataclass(frozen=True)
class Tolerances:
    """The settings of the validation by which labels and detected events are compared, in s."""

    time: tuple[float, ...]
    centre: tuple[float, ...]


def _json(content: Any) -> str:
    """Write a document so that it may stand inside a script of a page."""
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _plain(value: Any) -> Any:
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return None
    return value.item() if isinstance(value, np.generic) else value


def _rows(frame: pd.DataFrame, columns: Sequence[str], *, rounded: bool = False) -> list[list[Any]]:
    cells_of = [frame[name].tolist() if name in frame else [None] * len(frame) for name in columns]
    cells = [[_plain(cell) for cell in row] for row in zip(*cells_of, strict=True)]
    if rounded:
        cells = [[round(cell, _DECIMALS) if isinstance(cell, float) else cell for cell in row] for row in cells]
    return cells


def _curves(raw: Mapping[str, Trace], signals: Mapping[str, Trace]) -> list[tuple[str, str, str, float, Floats]]:
    """Give tracked point, quantity, unit, rate and values of everything that is shown."""
    curves = []
    for point in (p for p in BODY_POINTS if p in signals):
        signal = signals[point]
        rate = signal.sampling_frequency
        if point in raw:
            curves.append((point, "raw", signal.units, raw[point].sampling_frequency, raw[point]["raw"]))
        if signal.units == "deg":
            curves.append((point, "angle", "deg", rate, signal["response"]))
            continue
        unit = "a.u." if signal.units == "a.u." else "1"
        curves.append((point, "response", unit, rate, signal["response"]))
        curves += [
            (point, name, "deg", rate, signal[name])
            for name in _ANGLES
            if name in signal.columns and np.isfinite(signal[name]).any()
        ]
    return curves


def _around(frames: Iterable[pd.DataFrame]) -> Floats:
    spans = [spans_of(frame) for frame in frames if len(frame)]
    return np.vstack(spans) + np.array([-_AROUND_S, _AROUND_S]) if spans else np.empty((0, 2))


def _kinds() -> dict[str, dict[str, Any]]:
    """Give each type of mark: its words, whether an instant, whether it has a side, its lane and colour."""
    kinds: dict[str, dict[str, Any]] = {}
    for name, kind in EVENT_TYPES.items():
        lane = "feet" if kind.instant else "bends" if kind.sided else "throat"
        kinds[name] = {"instant": kind.instant, "sided": kind.sided, "lane": lane, "plural": kind.plural}
    for name in STATES:
        kinds[name] = {"instant": False, "sided": False, "lane": "states", "colour": STATE_COLOURS[name]}
    for name in CONFOUNDERS:
        kinds[name] = {"instant": False, "sided": False, "lane": "throat"}
    kinds["artefact"] = {"instant": False, "sided": False, "lane": "artefact"}
    kinds[LABELLED] = {"instant": False, "sided": False, "lane": "labelled", "colour": STATE_COLOURS["other"]}
    for name, kind_of in kinds.items():
        kind_of.setdefault("colour", KIND_COLOURS.get(name, "#000000"))
        kind_of["words"] = name.replace("_", " ")
    return kinds


def _resolution(thinning: Thinning, curves: Sequence[tuple[str, str, str, float, Floats]], duration: float) -> str:
    rates = sorted({rate for _, _, _, rate, _ in curves})
    each = " and ".join(f"{rate:g}" for rate in rates)
    if thinning.factor == 1:
        return f"Every sample is shown ({each} per second)."
    share = float((thinning.windows[:, 1] - thinning.windows[:, 0]).sum()) / max(duration, 1e-9)
    return (
        f"A long recording: the page holds the least and greatest of each {thinning.factor} samples "
        f"({thinning.factor / rates[0]:.3g} s), and every sample ({each} per second) in {min(share, 1.0):.0%} of the "
        "time, around what was labelled first and around detected movements then."
    )


def page_text(
    recording: Recording,
    quality: Mapping[str, Any],
    raw: Mapping[str, Trace],
    signals: Mapping[str, Trace],
    labels: Mapping[str, pd.DataFrame],
    found: Iterable[pd.DataFrame],
    *,
    reference_rater: str | None,
    tolerances: Tolerances,
    most_values: int | None = None,
) -> str:
    """Make the page of a recording.

    Parameters
    ----------
    recording : Recording
    quality : mapping
        Its row of ``tables/recordings.tsv`` as ingest made it: ``duration`` (s), ``status``, ``status_description``.
    raw, signals : mapping of tracked point to Trace
        As ingest and condition wrote them.
    labels : mapping of rater to DataFrame
        ``onset``, ``duration``, ``trial_type``, ``side``, ``value``.
    found : iterable of DataFrame
        ``onset`` and ``duration`` of movements that were detected whatever the labels: a long recording is kept whole
        around them.
    reference_rater : str or None
        Whose marks are taken up first.
    tolerances : Tolerances
    most_values : int, optional
        Values that the page may hold (`series.MOST_VALUES`).

    Returns
    -------
    str
        HTML.
    """
    curves = _curves(raw, signals)
    duration = float(quality["duration"])
    total, per_second = sum(len(values) for *_, values in curves), sum(rate for _, _, _, rate, _ in curves)
    limit = {} if most_values is None else {"most": most_values}
    thinning = thinning_of(total, per_second, [_around(labels.values()), _around(found)], **limit)
    series = [
        {"point": point, "quantity": quantity, "unit": unit, **packed_series(values, rate, thinning)}
        for point, quantity, unit, rate, values in curves
    ]
    marks = {
        rater: _rows(frame, ("onset", "duration", "trial_type", "side", "value")) for rater, frame in labels.items()
    }
    held = {"series": series, "marks": marks}
    content = {
        "recording": recording.recording_id,
        "task": recording.task,
        "duration": duration,
        "points": [point for point in BODY_POINTS if point in signals],
        "sides": [SIDE_OF_POINT[point] for point in SIDE_OF_POINT if point in signals],
        "reference_rater": reference_rater if reference_rater in marks else next(iter(marks), None),
        "tolerances": asdict(tolerances),
        "hashes": {name: hashlib.sha256(_json(part).encode()).hexdigest()[:16] for name, part in held.items()},
        "kinds": _kinds(),
        "states": list(STATES),
        "confounders": list(CONFOUNDERS),
        "colours": {"points": POINT_COLOURS, "sides": SIDE_COLOURS, "states": STATE_COLOURS},
        **held,
    }
    about = [f"task {recording.task}", f"{duration:.1f} s", str(quality["status"])]
    if _plain(quality.get("status_description")) is not None:
        about[-1] += f" ({quality['status_description']})"
    who = [word for word in (recording.participant_id, recording.session_id) if word]
    words = {
        "recording": recording.recording_id,
        "about": ", ".join([*who, *about]),
        "resolution": _resolution(thinning, curves, duration),
        "detected": detected_file(recording.recording_id).partition("/")[2],
    }
    template = Template((_HERE / "page.html").read_text(encoding="utf-8"))
    return template.substitute({k: html.escape(v) for k, v in words.items()}, content=_json(content))


def detected_text(events: pd.DataFrame, bouts: pd.DataFrame) -> str:
    """Make the script of what was detected in a recording.

    Parameters
    ----------
    events, bouts : DataFrame
        Its rows of ``tables/events.tsv`` and ``tables/bouts.tsv``.

    Returns
    -------
    str
        JavaScript.
    """
    content = {
        "events": _rows(events, ("onset", "duration", "trial_type", "side", "value"), rounded=True),
        "bouts": _rows(bouts, ("onset", "duration", "trial_type", "limping_side"), rounded=True),
    }
    return f"window.detected = {_json(content)};\n"


def asset_texts() -> dict[str, str]:
    """Give what all pages share, by name relative to the results folder; the plotting library from its own package."""
    spec = find_spec("bokeh")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("bokeh is not installed, whose JavaScript the review pages need")
    library = Path(spec.origin).parent / "server/static/js"
    texts = {}
    for name in ASSETS:
        file = Path(name).name
        if file == "review.js":
            texts[name] = "\n".join((_HERE / script).read_text(encoding="utf-8") for script in _SCRIPTS)
        elif file.startswith("bokeh"):
            texts[name] = (library / file).read_text(encoding="utf-8")
        else:
            texts[name] = (_HERE / file).read_text(encoding="utf-8")
    return texts


def index_text(study: str, rows: Sequence[Mapping[str, Any]]) -> str:
    """Make the list of all pages.

    Parameters
    ----------
    study : str
        Name of the study folder.
    rows : sequence of mapping
        ``recording_id``, ``participant_id``, ``session_id``, ``task``, ``status``, ``raters``; those with a page.

    Returns
    -------
    str
        HTML.
    """
    names = ("participant_id", "session_id", "task", "status", "raters")
    lines = []
    for row in rows:
        link = html.escape(page_file(str(row["recording_id"])))
        cells = "".join(f"<td>{html.escape(str(row[name] or 'n/a'))}</td>" for name in names)
        head = f'<th scope="row"><a href="{link}">{html.escape(str(row["recording_id"]))}</a></th>'
        lines.append(f"<tr>{head}{cells}</tr>")
    template = Template((_HERE / "index.html").read_text(encoding="utf-8"))
    return template.substitute(study=html.escape(study), rows="\n".join(lines))
