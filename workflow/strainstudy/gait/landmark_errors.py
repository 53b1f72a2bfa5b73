"""How far times read off a knee may lie from the foot's own: the error of the method, beside that of few strides.

In: contacts and toe-offs found and labelled (or of a force plate) in the same walks. Out: `LandmarkErrors`, and with
them the limits of ``tables/gait.tsv``. The mean of many strides still has the error of its landmark, which differs
from person to person and from leg to leg; no number of strides makes it smaller. Two things are told apart:

- how well these strides were measured: ``<measure>_error``, the half width of a 95 % interval about what contacts and
  toe-offs without error would have given for the very same strides;
- how far the person's usual value of that day may lie: ``<measure>_low`` and ``<measure>_high``, the strides being a
  sample (`measures`) and measured with that error; the two parts are put together in quadrature.

A study that labels contacts measures the error itself, on the other people; else it is that of force plates. Few people
tell a mean square badly (five of them to between a sixth and 2.6 times in 95 of 100 cases, chi-square), so that what
they tell is pooled with what force plates told, and never made smaller than what they tell themselves.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from ..stats.matching import match_instants
from ..stats.normal import NORMAL_95
from ..tables.gait import MEASURED, USUAL
from ..vocabulary import SIDES
from .measures import ASYMMETRIES

__all__ = [
    "CELLS",
    "FORCE_PLATES",
    "AngleError",
    "LandmarkErrors",
    "PeopleErrors",
    "Row",
    "errors_by_state",
    "errors_for",
    "landmark_cells",
    "pooled_errors",
    "with_measurement_error",
    "with_persistence",
]

FloatArray = NDArray[np.float64]
Row = dict[str, float | int | str | None]

REACH_S: Final = 0.25
"""A contact further from every label is another contact (as the widest of the usual tolerances, common practice)."""
MINIMUM_PEOPLE: Final = 5
"""Fewer other people with labels than this give no usable error of the method (ours)."""
MINIMUM_STRIDES: Final = 6
"""Strides of a walk below which its mean error is not used (ours)."""
SIZES: Final = ("stride_time_sd", "stride_time_cv", "phase_deviation", "coordination_index")
"""Measures that cannot be negative and may be near 0, nor can their limits."""
LIKENESSES: Final = ("waveform_likeness", *(f"stride_regularity_{side}" for side in SIDES))
"""Correlations: between -1 and 1, and so are their limits."""
_QUANTITIES: Final = ("contact", "stance")
CELLS: Final = (
    "participant_id",
    "trial_type",
    *(f"{name}_{side}{part}" for name in _QUANTITIES for side in SIDES for part in ("", "_variance")),
)
"""Mean error of each landmark of each side in one gait state of one recording, and its sampling variance."""


@dataclass(frozen=True)
class LandmarkErrors:
    """Errors of the landmarks of a walk, in seconds: root mean squares about zero, so that a bias is in them.

    Parameters
    ----------
    contact_s : float
        Of the mean contact of one side.
    difference_s : float
        Of the mean contact of the right side against that of the left.
    stance_s : float
        Of the mean stance time of one side; the swing time has the same error the other way.
    stance_difference_s : float
        Of the stance time of the right side minus that of the left.
    scatter_s : float
        Standard deviation of one contact about the mean of its walk.
    spread_s : float
        Of the standard deviation of stride times, which the scatter of contacts makes larger.
    freedom : int
        Degrees of freedom of the first four: people, or people and ways of walking.
    source : str
        Who and how many they were measured on.
    """

    contact_s: float
    difference_s: float
    stance_s: float
    stance_difference_s: float
    scatter_s: float
    spread_s: float
    freedom: int
    source: str

    @property
    def reach(self) -> float:
        """Standard errors from a value to its 95 % limit: Student's t."""
        return float(special.stdtrit(self.freedom, 0.975))


FORCE_PLATES: Final = LandmarkErrors(
    contact_s=0.0211,
    difference_s=0.0256,
    stance_s=0.0166,
    stance_difference_s=0.0233,
    scatter_s=0.0184,
    spread_s=0.0037,
    freedom=8,
    source="force plates: 16 walks of 4 people (Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1)",
)
"""From vertical ground reaction force above 50 N under healthy adults on a treadmill, who walked normally and with one
knee held stiff. Legs err otherwise in the two, so that each person counts as one in either (docs/coverage.md)."""


@dataclass(frozen=True)
class AngleError:
    """Standard errors of the calibrated angle of one knee.

    Parameters
    ----------
    share : float
        Of its gain, relative.
    any_deg : float
        Of any angle, degrees; a range holds it at both ends.
    zero_deg : float
        Of the straight leg's angle in a recording, degrees. Both knees are offset alike by what walking does to the
        map, so that the asymmetry of ranges does not have it.
    """

    share: float
    any_deg: float
    zero_deg: float


def landmark_cells(walks: Iterable[tuple[pd.DataFrame, pd.DataFrame, str]]) -> pd.DataFrame:
    """Measure the mean errors of the landmarks of recordings.

    Parameters
    ----------
    walks : iterable of (DataFrame, DataFrame, str)
        Of each recording: its strides, columns as in `strides.STRIDE_COLUMNS` and ``trial_type``, of which the steady
        ones are used; labels of contacts and toe-offs that are taken for true: onset, trial_type, side; participant_id.

    Returns
    -------
    DataFrame
        `CELLS`, seconds; a row for each gait state of `MINIMUM_STRIDES` strides a side; NaN where a landmark has no
        labels.
    """
    rows = [row for strides, labels, participant_id in walks for row in _cells_of(strides, labels, participant_id)]
    frame = pd.DataFrame(rows, columns=list(CELLS))
    return frame.astype(dict.fromkeys(CELLS[2:], "float64"))


def _cells_of(strides: pd.DataFrame, labels: pd.DataFrame, participant_id: str) -> list[dict[str, float | str]]:
    used = strides[strides["steady"].to_numpy(dtype=bool) & strides["trial_type"].notna().to_numpy()]
    states, sides = (used[name].to_numpy(dtype=object) for name in ("trial_type", "side"))
    times = {name: used[name].to_numpy(dtype=float) for name in ("onset", "toe_off")}
    onset = labels["onset"].to_numpy(dtype=float)
    kinds, labelled = (labels[name].to_numpy(dtype=object) for name in ("trial_type", "side"))
    known = {
        (kind, side): np.sort(onset[(kinds == kind) & (labelled == side)])
        for kind in ("initial_contact", "toe_off")
        for side in SIDES
    }
    rows = []
    for state in sorted(set(states)):
        row: dict[str, float | str] = {"participant_id": participant_id, "trial_type": str(state)}
        for side in SIDES:
            mine = (states == state) & (sides == side)
            contact = _errors(times["onset"][mine], known["initial_contact", side])
            toe_off = _errors(times["toe_off"][mine], known["toe_off", side])
            for name, errors in (("contact", contact), ("stance", toe_off - contact)):
                there = errors[np.isfinite(errors)]
                enough = there.size >= MINIMUM_STRIDES
                row[f"{name}_{side}"] = float(there.mean()) if enough else math.nan
                row[f"{name}_{side}_variance"] = float(there.var(ddof=1)) / there.size if enough else math.nan
        rows.append(row)
    return rows


def _errors(times: FloatArray, known: FloatArray) -> FloatArray:
    """Found minus labelled time of each landmark; NaN where nothing was labelled near it."""
    pairs = match_instants(known, times, REACH_S)
    errors = np.full(times.size, np.nan)
    errors[pairs.estimate] = times[pairs.estimate] - known[pairs.reference]
    return errors


@dataclass(frozen=True)
class PeopleErrors:
    """Errors of the landmarks of each person, in one gait state, to be pooled without one of them.

    Parameters
    ----------
    people : ndarray of str, shape (n,)
        What counts as one, in order.
    walks : ndarray of int, shape (n,)
        Of each, those with the contacts of both sides.
    squares : mapping of str to ndarray, shape (n,)
        ``contact``, ``contact_difference``, ``stance``, ``stance_difference``: mean square over the walks of each, less
        what few strides' scatter makes of it, in s^2; NaN where there is none.
    """

    people: NDArray[np.object_]
    walks: NDArray[np.int64]
    squares: Mapping[str, FloatArray]

    @classmethod
    def of(cls, cells: pd.DataFrame, unit: Sequence[str] = ("participant_id",)) -> Self:
        """Sum up `CELLS` of one gait state; values of the columns ``unit`` together count as one."""
        who = cells[list(unit)].agg(" ".join, axis=1) if len(cells) else cells["participant_id"]
        parts = {"walks": cells[["contact_left", "contact_right"]].notna().all(axis=1).astype(float)}
        for name in _QUANTITIES:
            left, right = cells[f"{name}_left"], cells[f"{name}_right"]
            noise = [cells[f"{name}_{side}_variance"] for side in SIDES]
            parts[f"{name}_difference"] = (right - left) ** 2 - (noise[0] + noise[1])
            parts[name] = (left**2 + right**2) / 2 - (noise[0] + noise[1]) / 2
        groups = pd.DataFrame(parts).groupby(who, sort=True)
        means = groups[[name for name in parts if name != "walks"]].mean()
        return cls(
            means.index.to_numpy(dtype=object),
            groups["walks"].sum().to_numpy(dtype=np.int64),
            {name: means[name].to_numpy(dtype=float) for name in means},
        )

    def pooled(self, source: str, without: str | None = None) -> LandmarkErrors | None:
        """Pool them as `pooled_errors` does, leaving one person out if one is named."""
        others = self.people != without
        known = {name: squares[others & np.isfinite(squares)] for name, squares in self.squares.items()}
        people = len(known["contact_difference"])
        if not people:
            return None
        found = {
            name: math.sqrt(max(float(squares.mean()), 0.0)) if len(squares) else math.nan
            for name, squares in known.items()
        }
        return replace(
            FORCE_PLATES,
            contact_s=found["contact"],
            difference_s=found["contact_difference"],
            stance_s=found["stance"],
            stance_difference_s=found["stance_difference"],
            freedom=people,
            source=source.format(people, int(self.walks[others].sum())),
        )


def _beside(found: LandmarkErrors, plates: LandmarkErrors) -> LandmarkErrors:
    """Pool the mean squares of few people with those of force plates, each where that makes the error larger."""
    names = ("contact_s", "difference_s", "stance_s", "stance_difference_s")
    own = {name: getattr(found, name) for name in names}
    both = {}
    for name in names:
        theirs, people = getattr(plates, name), found.freedom
        mean = (people * own[name] ** 2 + plates.freedom * theirs**2) / (people + plates.freedom)
        # Without labelled toe-offs there is nothing to pool.
        both[name] = math.sqrt(mean) if math.isfinite(mean) else theirs
    larger = {name: max(both[name], own[name]) if math.isfinite(own[name]) else both[name] for name in names}
    if larger == own:
        return found
    pooled = all(larger[name] == both[name] for name in names)
    return replace(
        found,
        **larger,
        freedom=found.freedom + plates.freedom if pooled else found.freedom,
        source=f"{found.source}, pooled with {plates.source}",
    )


def pooled_errors(cells: pd.DataFrame, source: str, unit: Sequence[str] = ("participant_id",)) -> LandmarkErrors | None:
    """Pool cells over people, every person counted alike.

    Parameters
    ----------
    cells : DataFrame
        `CELLS`, of one gait state.
    source : str
        ``{0}`` stands for the number of people, ``{1}`` for that of walks.
    unit : sequence of str
        Columns whose values together count as one.

    Returns
    -------
    LandmarkErrors or None
        None without a cell of both sides. Scatter and spread are those of `FORCE_PLATES`: hand labels scatter more
        than what they are to measure.
    """
    return PeopleErrors.of(cells, unit).pooled(source)


def errors_by_state(cells: pd.DataFrame) -> dict[str, PeopleErrors]:
    """Sum up `CELLS` of a study by gait state."""
    return {str(state): PeopleErrors.of(own) for state, own in cells.groupby("trial_type", sort=True)}


def errors_for(
    participant_id: str | None,
    state: str,
    labelled: Mapping[str, PeopleErrors],
    plates: LandmarkErrors = FORCE_PLATES,
) -> LandmarkErrors:
    """Choose the errors that the walk of a person is judged by.

    Parameters
    ----------
    participant_id : str or None
    state : str
        Gait state.
    labelled : mapping of state to PeopleErrors
        Of the whole study, from `errors_by_state`.
    plates : LandmarkErrors
        Of force plates, and of whatever else the labels of this study would have told.

    Returns
    -------
    LandmarkErrors
        From the labels of `MINIMUM_PEOPLE` other people or more in the same state, else ``plates``. The mean squares
        of these people are pooled with those of the plates by degrees of freedom (people); where their own is larger
        than that, it stays, with their number as its degrees of freedom.
    """
    told = labelled.get(state)
    found = (
        None
        if told is None
        else told.pooled("labels of this study: {1} walks of {0} other people", without=participant_id)
    )
    return plates if found is None or found.freedom < MINIMUM_PEOPLE else _beside(found, plates)


def _folded(middle: float, spread: float) -> float:
    """Mean size of normal deviations about ``middle`` (Leone, Nelson & Nottingham 1961, Technometrics 3:543)."""
    if not spread > 0:
        return abs(middle)
    density = math.exp(-0.5 * (middle / spread) ** 2) * spread * math.sqrt(2 / math.pi)
    return density + middle * math.erf(middle / (spread * math.sqrt(2)))


def _runs(strides: pd.DataFrame, side: str) -> tuple[int, int]:
    """Count the strides of a side, and the runs in which one follows on another."""
    own = strides["side"].to_numpy(dtype=object) == side
    onset, time = (strides[name].to_numpy(dtype=float)[own] for name in ("onset", "stride_time"))
    order = np.argsort(onset)
    onset, end = onset[order], (onset + time)[order]
    return onset.size, int(np.count_nonzero(onset[1:] > end[:-1] + 1e-6)) + (1 if onset.size else 0)


def _standard_errors(row: Mapping[str, object], strides: pd.DataFrame, e: LandmarkErrors) -> dict[str, float]:
    """Give the standard error of each measure that rests on landmarks."""

    def value(name: str) -> float:
        found = row.get(name)
        return float(found) if isinstance(found, int | float) else math.nan

    walked = {side: _runs(strides, side) for side in SIDES}
    count, runs = ({side: both[k] for side, both in walked.items()} for k in (0, 1))
    jitter = {side: e.scatter_s / math.sqrt(max(count[side], 1)) for side in SIDES}
    stride = value("stride_time_mean")
    # Within a run each contact ends one stride and begins the next, so that only the first and the last count.
    mean_error = e.scatter_s * math.sqrt(2 * sum(runs.values())) / max(sum(count.values()), 1)
    found = {
        "stride_time_mean": mean_error,
        "cadence": 120.0 * mean_error / stride**2,
        "stride_time_sd": e.spread_s,
        "stride_time_cv": 100.0 * e.spread_s / stride,
    }
    apart = math.hypot(e.difference_s, *jitter.values())
    shift = found["phase_mean"] = 360.0 * apart / stride
    middle, deviation = value("phase_mean") - 180.0, value("phase_deviation")
    spread = value("phase_mean") / 100.0 * (value("coordination_index") - 100.0 * deviation / 180.0)
    moved_by = [abs(_folded(middle + k * shift, spread) - _folded(middle, spread)) for k in (-1.0, 1.0)]
    found["phase_deviation"] = max(moved_by) if math.isfinite(spread) else math.nan
    # Contacts that scatter make the phase scatter: half of what they may at most have added is its standard error.
    steady = math.sqrt(max(spread**2 - (360.0 * math.sqrt(2) * e.scatter_s / stride) ** 2, 0.0))
    added = 50.0 * (spread - steady) / value("phase_mean")
    found["coordination_index"] = math.hypot(100.0 * found["phase_deviation"] / 180.0, added)
    found["swing_peak_timing_difference"] = 100.0 * apart / stride
    for side in SIDES:
        stance = math.hypot(e.stance_s, math.sqrt(2) * jitter[side])
        found |= {
            f"stride_time_mean_{side}": e.scatter_s * math.sqrt(2 * runs[side]) / max(count[side], 1),
            f"step_time_mean_{side}": math.hypot(apart, jitter[side]),
            f"stance_time_mean_{side}": stance,
            f"swing_time_mean_{side}": stance,
            f"stance_fraction_mean_{side}": stance / stride,
            f"swing_peak_timing_mean_{side}": 100.0 * math.hypot(e.contact_s, jitter[side]) / stride,
        }
    uneven = math.hypot(e.stance_difference_s, *(math.sqrt(2) * j for j in jitter.values())) / 2
    for quantity, shift in (("step_time", apart), ("stance_time", uneven), ("swing_time", uneven)):
        left, right = (value(f"{quantity}_mean_{side}") for side in SIDES)
        moved = np.array([-shift, shift])
        for title, asymmetry in ASYMMETRIES.items():
            # What a late contact or toe-off adds to one side it takes from the other.
            found[f"{quantity}_{title}"] = float(np.ptp(asymmetry(left - moved, right + moved))) / 2
    if abs(value("swing_time_log_ratio")) < e.reach * found["swing_time_log_ratio"]:
        # Which leg swings longer, and so is the reference of the phase, is not certain: it may be the mirrored one.
        found["phase_mean"] = math.hypot(found["phase_mean"], middle)
    return found


def with_persistence(row: Row, persistence: float) -> Row:
    """Move limits out, because strides resemble the ones before for minutes, which few strides cannot tell themselves.

    The mean of n values with Hurst exponent H scatters by SD n^(H - 1), that of independent ones by SD n^(-1/2)
    (Hausdorff JM et al. 1995, J Appl Physiol 78:349-358; Beran J 1994, Statistics for Long-Memory Processes, ch. 1;
    both from memory).

    Parameters
    ----------
    row : mapping
        From `measures.summarise_walk`: limits of independent strides.
    persistence : float
        Hurst exponent; 0.5 changes nothing.

    Returns
    -------
    dict
    """
    cycles = max(int(row[f"n_strides_{side}"] or 0) for side in SIDES)
    wider = max(cycles, 1) ** (persistence - 0.5)
    done: Row = dict(row)
    for key, limit in row.items():
        name = key.removesuffix("_low").removesuffix("_high")
        value = row.get(name)
        if name != key and isinstance(limit, float) and isinstance(value, float):
            moved = value + wider * (limit - value)
            if math.isfinite(moved) and name in SIZES:
                moved = max(moved, 0.0)
            elif math.isfinite(moved) and name in LIKENESSES:
                moved = min(max(moved, -1.0), 1.0)
            done[key] = moved
    return done


def with_measurement_error(
    row: Row,
    strides: pd.DataFrame,
    errors: LandmarkErrors,
    *,
    angles: Mapping[str, AngleError],
) -> Row:
    """Add to a row what its strides do not tell: the error of the method.

    Parameters
    ----------
    row : mapping
        From `measures.summarise_walk`, by way of `with_persistence`.
    strides : DataFrame
        The strides it was made of.
    errors : LandmarkErrors
        Of the method.
    angles : mapping of side to AngleError
        Of each knee; empty without calibrated angles.

    Returns
    -------
    dict
        The row with ``<measure>_error`` for each of `tables.gait.MEASURED`, its limits moved out in quadrature by as
        much, ``interval_kind`` and ``error_source``.
    """
    used = strides[strides["steady"].to_numpy(dtype=bool)]
    halves = {name: errors.reach * error for name, error in _standard_errors(row, used, errors).items()}
    halves |= _angle_halves(row, angles)
    done: Row = dict(row)
    for name in MEASURED:
        value, half = row[name], halves.get(name, math.nan)
        known = isinstance(value, float) and math.isfinite(value) and math.isfinite(half)
        done[f"{name}_error"] = half if known else math.nan
        if not known or not isinstance(value, float):
            continue
        for end, sign in (("_low", -1.0), ("_high", 1.0)):
            limit = row[f"{name}{end}"]
            if isinstance(limit, float) and math.isfinite(limit):
                moved = value + sign * math.hypot(limit - value, half)
                done[f"{name}{end}"] = max(moved, 0.0) if name in SIZES else moved
    done["interval_kind"], done["error_source"] = USUAL, errors.source
    return done


def _angle_halves(row: Mapping[str, object], angles: Mapping[str, AngleError]) -> dict[str, float]:
    """Half widths of what the error of the calibrated angle moves."""
    found: dict[str, float] = {}
    relative: dict[str, float] = {}
    for side, error in angles.items():
        for name, ends in (("swing_peak", 1), ("range_of_motion", 2)):
            value = row.get(f"{name}_mean_{side}")
            if isinstance(value, float) and value > 0:
                own = math.hypot(error.share * value, math.sqrt(ends) * error.any_deg)
                found[f"{name}_mean_{side}"] = NORMAL_95 * math.hypot(own, error.zero_deg)
                relative[f"{name} {side}"] = own / value
    shares = [relative.get(f"range_of_motion {side}", math.nan) for side in SIDES]
    left, right = (row.get(f"range_of_motion_mean_{side}") for side in SIDES)
    if all(map(math.isfinite, shares)) and isinstance(left, float) and isinstance(right, float):
        moved = np.array([-1.0, 1.0])
        for title, asymmetry in ASYMMETRIES.items():
            parts = (
                float(np.ptp(asymmetry(left * (1 + moved * shares[0]), np.full(2, right)))) / 2,
                float(np.ptp(asymmetry(np.full(2, left), right * (1 + moved * shares[1])))) / 2,
            )
            found[f"range_of_motion_{title}"] = NORMAL_95 * math.hypot(*parts)
    return found
