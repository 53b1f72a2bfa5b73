"""How well a reference beside a sensor calibrates it, on recorded knees: fit on the first third, test on the rest.

``python tests/experiments/sleeve_study.py FOLDER docs/sleeve-study.md`` writes the tables. FOLDER is a study folder in
which a sensor in arbitrary units and a reference in degrees of the same knee were recorded side by side, in delimited
text of an even rate. The form of the map and its constants were chosen on the recordings whose ids start with one of
`CHOSEN_ON`; the others are left out of every choice.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from unittest.mock import patch

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from scipy.optimize import isotonic_regression
from strainstudy.calibrate import referencefit
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.calibrate.referencefit import ReferencePiece, fit_reference_map
from strainstudy.calibrate.referencemap import TERMS, ReferenceMap
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.study import load_study
from strainstudy.vocabulary import KNEES

__all__ = ["CHOSEN_ON", "Figures", "figures_of", "first_third", "mapped", "page", "read_pieces"]

CHOSEN_ON = ("pair-01-02", "pair-05-06", "pair-09-10")
SHARE = 1 / 3


@dataclass(frozen=True)
class Figures:
    """Error in degrees and coverage of the interval on what was tested, a recording and map at a time."""

    rmse: np.ndarray
    coverage: np.ndarray


def read_pieces(folder: Path, start: str = "") -> list[ReferencePiece]:
    """Read every knee that has both a sensor and a reference, conditioned as the pipeline does, all of it usable.

    Parameters
    ----------
    folder : Path
    start : str
        Of the ids of the recordings to read.
    """
    how = ConditionParameters()
    pieces = []
    for recording in load_study(folder).recordings.values():
        if not recording.recording_id.startswith(start):
            continue
        for point in KNEES.values():
            names = {c.units == "deg": c for c in recording.channels if c.tracked_point == point}
            if len(names) < 2 or recording.sampling_frequency is None:
                continue
            raw = pd.read_csv(recording.path)
            fs = recording.sampling_frequency
            clean, angle = (
                condition_trace(
                    raw[names[kind].name].to_numpy(float),
                    fs,
                    tracked_point=point,
                    units=names[kind].units,
                    parameters=how,
                )
                for kind in (False, True)
            )
            used = np.ones(len(raw), dtype=bool)
            pieces.append(ReferencePiece(recording.recording_id, fs, clean.response, clean.drift, angle.response, used))
    return pieces


def first_third(piece: ReferencePiece) -> ReferencePiece:
    """Leave the first third of a recording to be fitted."""
    n = len(piece.used)
    return replace(piece, used=np.arange(n) < n * SHARE)


def _neighbours(piece: ReferencePiece, pieces: Sequence[ReferencePiece]) -> Iterator[ReferencePiece]:
    """Other recordings of the same exercise and pair: their ids differ in the last number alone."""
    exercise = piece.recording_id.rpartition("-")[0]
    for other in pieces:
        if other.recording_id != piece.recording_id and other.recording_id.rpartition("-")[0] == exercise:
            yield other


def _static(fitted: ReferencePiece, tested: ReferencePiece) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One rising curve through the recorded response, without memory: the plainest map there is."""
    x, y = (fitted.response + fitted.drift)[fitted.used], fitted.reference[fitted.used]
    order = np.argsort(x, kind="stable")
    angle = np.interp(tested.response + tested.drift, x[order], isotonic_regression(y[order]).x)
    nothing = np.full(len(angle), np.nan)
    return angle, nothing, nothing


def mapped(fitted: ReferencePiece, tested: ReferencePiece) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Angle and limits of the pipeline's map."""
    found = fit_reference_map([fitted], CalibrateParameters())
    assert isinstance(found, ReferenceMap), (fitted.recording_id, found)
    angles = found.apply(
        tested.response, tested.sampling_frequency, drift=tested.drift, recording_id=tested.recording_id
    )
    return angles.angle, angles.low, angles.high


Method = Callable[[ReferencePiece, ReferencePiece], tuple[np.ndarray, np.ndarray, np.ndarray]]


def figures_of(
    pairs: Sequence[tuple[ReferencePiece, ReferencePiece]], method: Method, *, in_sample: bool = False
) -> Figures:
    """Fit each first piece, test on each second: on what was not fitted, unless ``in_sample``."""
    errors, coverages = [], []
    for fitted, tested in pairs:
        angle, low, high = method(fitted, tested)
        same = fitted.recording_id == tested.recording_id
        pick = np.isfinite(angle) & np.isfinite(tested.reference)
        pick &= fitted.used if same and in_sample else ~fitted.used if same else True
        errors.append(float(np.sqrt(np.mean((angle - tested.reference)[pick] ** 2))))
        inside = (low <= tested.reference) & (tested.reference <= high)
        coverages.append(float(inside[pick].mean()) if np.isfinite(low[pick]).any() else np.nan)
    return Figures(np.array(errors), np.array(coverages))


def _line(words: str, groups: Sequence[Figures]) -> str:
    cells = [words]
    for found in groups:
        cover = "-"
        if np.isfinite(found.coverage).any():
            cover = f"{100 * np.median(found.coverage):.0f} ({100 * found.coverage.mean():.0f})"
        cells += [f"{np.median(found.rmse):.1f} ({found.rmse.mean():.1f}; {found.rmse.max():.1f})", cover]
    return f"| {' | '.join(cells)} |"


def _without(term: str) -> Method:
    """Fit as the pipeline does, but for one term."""

    def method(fitted: ReferencePiece, tested: ReferencePiece) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        with patch.object(referencefit, "TERMS", tuple(other for other in TERMS if other != term)):
            return mapped(fitted, tested)

    return method


def page(pieces: Sequence[ReferencePiece]) -> str:
    """Write the page."""
    chosen = [piece for piece in pieces if piece.recording_id.startswith(CHOSEN_ON)]
    groups = [chosen, [piece for piece in pieces if not piece.recording_id.startswith(CHOSEN_ON)]]
    thirds = [[(first_third(piece), piece) for piece in group] for group in groups]
    whole = [[(piece, piece) for piece in group] for group in groups]
    near = [[(other, piece) for piece in group for other in _neighbours(piece, pieces)] for group in groups]
    counts = [len(group) for group in groups]
    rows = [
        ("one rising curve, in sample", whole, _static, True),
        ("one rising curve of a neighbouring recording", near, _static, False),
        ("one rising curve, first third", thirds, _static, False),
        ("the map, first third", thirds, mapped, False),
        *((f"the same without {term}", thirds, _without(term), False) for term in TERMS),
        ("the map, of a neighbouring recording", near, mapped, False),
    ]
    head = ["map", *(f"{kind}, {group}" for group in ("chosen on", "left out") for kind in ("RMSE", "covered, %"))]
    lines = [
        "# A sleeve calibrated by the reference beside it",
        "",
        "Written by `python tests/experiments/sleeve_study.py FOLDER docs/sleeve-study.md`, FOLDER being the study "
        "folder of a knitted resistive sleeve beside optical motion capture (e-Body Lab, Imperial College London, "
        "2023, MIT licence): half squats, hamstring curls, leg press with lift-up, 60 to 230 s each, 100 Hz.",
        "",
        f"The form of the map, its time constants, knots and branch radius were chosen on {counts[0]} recordings of "
        f"the pairs {', '.join(CHOSEN_ON)}; the other {counts[1]} were left out of that. RMSE in degrees: median over "
        "recordings (mean; worst). Covered: share of the samples whose 90 % interval holds the reference, median over "
        "recordings (mean).",
        "",
        f"| {' | '.join(head)} |",
        "|" + " --- |" * len(head),
        *(
            _line(words, [figures_of(group, method, in_sample=inside) for group in pairs])
            for words, pairs, method, inside in rows
        ),
        "",
        "Two things were chosen later, after the recordings left out had shown that they were wrong, so there the "
        "table is no test of them: that drift stays in unless taking it off predicts a fifth better (it took movement "
        "for drift in two squats), and how fast the zero may wander from the fitted span (1.75 degrees in a minute; "
        "with 1.25 to 2.5 the median coverage of each of the five pairs lies between 86 and 96 %).",
        "",
        "What is left in the fitted third itself is 3 degrees: the knit reads less at the turning point than just "
        "before and after, and differs from bend to bend. The worst recording is a leg press whose reference runs up "
        "to 0.2 s off the sleeve. In another recording of the same exercise the sleeve lies otherwise on the leg; so a "
        "recording with a span of its own is told by that.",
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    Path(sys.argv[2]).write_text(page(read_pieces(Path(sys.argv[1]))), encoding="utf-8")
