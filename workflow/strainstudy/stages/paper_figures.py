"""Tables and signals of a finished study to the figures of a paper of one kind, and their captions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from ..errors import counted
from ..io.frames import write_json
from ..io.store import Trace, TraceReader
from ..jobs import Progress
from ..paper.captions import caption_of
from ..paper.figures import FIGURES
from ..paper.kinds import PAPER_KINDS, reads_signals, tables_of
from ..paper.names import FORMS, WIDTHS_MM, figure_file
from ..paper.style import drawing, save, sheet
from ..records import Recording
from ..reference_use import calibrating_spans
from ..report.results import StudyTables
from ..tables.angles import ANGLES
from ..tables.events import STRIDES
from ..vocabulary import SIDE_OF_POINT

__all__ = ["angle_frames", "run"]

_QUANTITIES: Final = ("angle", "angle_low", "angle_high", "reference_angle")
_WINDOW_S: Final = 8.0  # s, some six strides (ours)
_SQUARE_DEG: Final = 2.0  # deg, side of the squares that time is summed in (ours)
_OVERLAY: Final = ("recording_id", "side", "time", "angle", "low", "high", "reference")


def _typical(tables: StudyTables, known: Mapping[str, Recording]) -> tuple[str, str] | None:
    """Find recording and knee whose error is the median of all that were not made for calibration."""
    angles = tables(ANGLES)
    whole = angles[(angles["phase"] == "all") & angles["angle_from"].isna() & angles["angle_to"].isna()]
    single = whole[whole["tracked_point"].notna() & whole["rmse"].notna()]
    single = single[[name in known and known[name].task != "bend" for name in single["recording_id"]]]
    if single.empty:
        return None
    single = single.sort_values(["rmse", "recording_id", "tracked_point"], kind="stable")
    row = single.iloc[(len(single) - 1) // 2]
    return str(row["recording_id"]), str(row["tracked_point"])


def _overlay(trace: Trace, strides: pd.DataFrame) -> pd.DataFrame:
    """Take some seconds from the first steady stride on, else from the first sample with both angles."""
    side = SIDE_OF_POINT[trace.tracked_point]
    own = strides[(strides["recording_id"] == trace.recording_id) & (strides["side"] == side)]
    steady = own.loc[own["steady"].fillna(value=False).astype(bool), "onset"]
    both = np.flatnonzero(np.isfinite(trace["angle"]) & np.isfinite(trace["reference_angle"]))
    start = float(steady.min()) if len(steady) else float(trace.time[both[0]]) if both.size else 0.0
    inside = (trace.time >= start) & (trace.time < start + _WINDOW_S)
    values = [trace[name][inside] for name in _QUANTITIES]
    columns = [trace.recording_id, side, trace.time[inside], *values]
    return pd.DataFrame(dict(zip(_OVERLAY, columns, strict=True)))


def _squares(trace: Trace, recording: Recording) -> pd.DataFrame:
    """Seconds in each square of reference and angle, without time whose reference calibrated."""
    time = trace.time
    angle, reference = trace["angle"], trace["reference_angle"]
    used = np.isfinite(angle) & np.isfinite(reference)
    for first, last in calibrating_spans(recording.reference_use, trace.n / trace.sampling_frequency):
        used &= (time < first) | (time >= last)
    both = np.floor(np.column_stack([reference[used], angle[used]]) / _SQUARE_DEG).astype(int)
    # squares by one number each, in the order of both: rows are sorted tens of times slower
    first = both.min(axis=0, initial=0)
    across = int(both[:, 1].max(initial=0) - first[1]) + 1
    numbers, counts = np.unique((both[:, 0] - first[0]) * across + both[:, 1] - first[1], return_counts=True)
    cells = np.column_stack(np.divmod(numbers, across)) + first
    frame = pd.DataFrame((cells + 0.5) * _SQUARE_DEG, columns=["reference", "angle"])
    return frame.assign(seconds=counts / trace.sampling_frequency, side=_SQUARE_DEG)


def angle_frames(
    tables: StudyTables, recordings: Sequence[Recording], signals: Sequence[Path]
) -> dict[str, pd.DataFrame]:
    """Take what is drawn of angles beside a reference out of the signals.

    Parameters
    ----------
    tables : StudyTables
    recordings : sequence of Recording
        All of the study.
    signals : sequence of Path
        Signals of all batches.

    Returns
    -------
    dict of str to DataFrame
        ``overlay``: recording_id, side, time, angle, low, high, reference of one recording; ``density``: reference and
        angle (centres of squares), seconds, side of the squares. Empty where no angle has a reference.
    """
    known = {recording.recording_id: recording for recording in recordings}
    chosen = _typical(tables, known)
    nothing = {"overlay": pd.DataFrame(columns=list(_OVERLAY)), "density": pd.DataFrame()}
    if chosen is None:
        return nothing
    compared = set(tables(ANGLES)["recording_id"])
    squares, overlay = [], nothing["overlay"]
    for path in signals:
        with TraceReader(path, _QUANTITIES) as reader:
            for name in sorted(compared):
                if name not in known or known[name].task == "bend":
                    continue
                for point, trace in reader.recording(name).items():
                    if point not in SIDE_OF_POINT or trace.units == "deg":
                        continue
                    squares.append(_squares(trace, known[name]))
                    if (name, point) == chosen:
                        overlay = _overlay(trace, tables(STRIDES))
    summed = pd.concat(squares).groupby(["reference", "angle", "side"], sort=True)["seconds"].sum().reset_index()
    return {"overlay": overlay, "density": summed}


def run(
    kind: str,
    recordings: Sequence[Recording],
    *,
    signals: Sequence[Path],
    results: Path,
    made: Path,
    progress: Progress,
) -> None:
    """Draw the figures of a kind at every width; one of an earlier run that the study no longer gives goes.

    Parameters
    ----------
    kind : str
        Of `paper.kinds.PAPER_KINDS`.
    recordings : sequence of Recording
        All of the study, for the kind that is drawn from signals.
    signals : sequence of Path
        Signals of all batches, for that kind.
    results : Path
        Results folder.
    made : Path
        To write: the caption of each figure by its name.
    progress : Progress
    """
    tables = StudyTables(results, tables_of(kind))
    angles = angle_frames(tables, recordings, signals) if reads_signals(kind) else {}
    captions = {}
    with drawing():
        for name in PAPER_KINDS[kind]:
            figure = FIGURES[name]
            panels = figure.panels(tables, angles)
            if not panels:
                for width in WIDTHS_MM:
                    for form in FORMS:
                        (results / figure_file(name, width, form)).unlink(missing_ok=True)
                continue
            captions[name] = caption_of(name, tables, panels)
            for width, layout in figure.layouts.items():
                drawn = sheet(panels, width, layout.columns, layout.height(panels), same_y=figure.same_y)
                save(drawn, {form: results / figure_file(name, width, form) for form in FORMS})
    write_json(made, captions)
    progress.say(counted(len(captions), "figure"))
