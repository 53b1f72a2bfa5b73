"""One sensor on the bench: from its stretch and tap recordings to one row of figures and tables.

In: recordings of one sensor (relative resistance change, reference strain). Out: `SensorBench`. Use the response
before any low-pass filter: a filter shortens noise and lengthens response times.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd

from ..io.store import FloatArray
from ..stats.normal import NORMAL_95
from ..tables.sensors import RECORDINGS_DIFFER
from .cycles import find_cycles, find_holds, find_taps, moves
from .holds import FADED, LN9, STEP_COLUMNS, Creep, HoldSpan, creep_constants, step_table
from .intervals import Estimate, absolute, ratio_of_means, repeated
from .lag import NOT_SEPARABLE, Lag, estimate_lag
from .loops import LoopFigures, loop_figures
from .noise import DETECTION_FACTOR, noise_floor
from .parameters import BenchParameters

__all__ = ["BenchRecording", "SensorBench", "characterise", "reference_strain"]

_REST_SHARE = 0.05
"""Share of the reference's range above its lowest within which a hold is a rest (ours)."""
_FEWEST_SAMPLES = 20
"""Samples of a hold below which its creep is not read (ours)."""
_MARGIN_S = 0.1
"""Seconds left out at the end of a rest, before the bench moves on (ours)."""
_LIKE = 0.05
"""Share by which gauge factors of recordings may differ that are taken as one (ours)."""
_OF_THE_GAIN = ("response_full_scale", "signal_to_noise", "detection_limit", "stretch_to_tap_ratio", "repeatability",
                "drift")  # fmt: skip
"""Figures that stand or fall with one gauge factor."""
_CORNER_SAMPLES = 4.0
"""Samples within which a step of the bench is abrupt: its start is then known to a sample only (ours)."""
_NONE = Estimate()


@dataclass(frozen=True)
class BenchRecording:
    """One bench recording of one sensor.

    Parameters
    ----------
    recording_id : str
    task : {"stretch", "tap"}
    response : array, shape (n,)
        Relative resistance change (or a.u.); NaN for gaps.
    sampling_frequency : float
        Hz.
    reference : array, shape (n,), optional
        Strain as a fraction (`reference_strain`); a tap needs none.
    """

    recording_id: str
    task: Literal["stretch", "tap"]
    response: FloatArray
    sampling_frequency: float
    reference: FloatArray | None = None


@dataclass(frozen=True)
class SensorBench:
    """What the bench says of one sensor.

    Parameters
    ----------
    row : dict
        The columns of ``tables/sensors.tsv`` without ``sensor_id``; limits as ``<name>_low``, ``<name>_high``.
    curves, loops, cycles, steps : DataFrame
        Rows of the tables ``sensor_curves``, ``sensor_loops``, ``bench_cycles``, ``bench_steps`` without ``sensor_id``;
        the first two with ``recording_id``, None where all recordings agree and stand together.
    """

    row: dict[str, float | int | str | None]
    curves: pd.DataFrame
    loops: pd.DataFrame
    cycles: pd.DataFrame
    steps: pd.DataFrame
    warnings: tuple[str, ...] = field(default=())


def reference_strain(values: FloatArray, units: str, gauge_length_mm: float | None = None) -> FloatArray:
    """Turn a reference channel into strain.

    Parameters
    ----------
    values : array, shape (n,)
        Strain in percent, or displacement in mm.
    units : {"percent", "mm"}
    gauge_length_mm : float, optional
        Needed for mm.

    Returns
    -------
    array, shape (n,)
        Strain as a fraction.

    Raises
    ------
    ValueError
        If millimetres come without a gauge length, or the unit is another.
    """
    if units == "percent":
        return np.asarray(values) / 100.0
    if units == "mm":
        if not gauge_length_mm or not gauge_length_mm > 0.0:
            raise ValueError("a reference in mm needs the sensor's gauge_length_mm; give it in sensors.tsv")
        return np.asarray(values) / gauge_length_mm
    raise ValueError(f"a bench reference is in percent or mm, not {units!r}")


def _settled_cycles(piece: BenchRecording, parameters: BenchParameters) -> pd.DataFrame:
    assert piece.reference is not None
    cycles = find_cycles(piece.reference, piece.sampling_frequency, parameters)
    cycles["recording_id"] = piece.recording_id
    cycles["position"] = np.arange(len(cycles), dtype=float)
    cycles["settled"] = cycles["number"] >= parameters.conditioning_cycles
    return cycles


def _rests(piece: BenchRecording, holds: pd.DataFrame, lag: Lag) -> list[tuple[FloatArray, float]]:
    """Response during holds at the lowest strain; with none, during all holds."""
    assert piece.reference is not None
    fs = piece.sampling_frequency
    span = float(np.ptp(piece.reference[np.isfinite(piece.reference)]))
    floor = float(np.nanmin(piece.reference)) + _REST_SHARE * span
    chosen = holds[holds["strain_to"] <= floor]
    chosen = chosen if len(chosen) else holds
    shift, margin = round(lag.seconds * fs), round(_MARGIN_S * fs)
    rests = []
    for start, stop in chosen[["start", "stop"]].to_numpy(dtype=int):
        # The answer to the movement before fades in the first fifth.
        first = start + (0 if start == 0 else (stop - start) // 5) + max(shift, 0)
        rests.append((piece.response[first : max(stop + min(shift, 0) - margin, first)], fs))
    return rests


def _creep_spans(piece: BenchRecording, steps: pd.DataFrame) -> list[HoldSpan]:
    fs = piece.sampling_frequency
    spans = []
    columns = steps[["onset", "duration", "delay", "time_constant"]].to_numpy(dtype=float)
    for onset, duration, delay, tau in columns[np.isfinite(columns).all(axis=1)]:
        first = round((onset + max(delay, 0.0) + FADED * tau) * fs) + 1
        # A record that is early leaves the hold before the reference does.
        last = round((onset + duration + min(delay, 0.0)) * fs)
        if last - first >= _FEWEST_SAMPLES:
            spans.append(HoldSpan(piece.response[first:last], fs, float(tau)))
    return spans


def _lag_of_steps(steps: pd.DataFrame, fs: float) -> Lag:
    """Delay plus time constant: how late a first-order sensor follows a ramp."""
    known = steps[np.isfinite(steps["sum_se"].to_numpy(dtype=float))]
    if known.empty:
        return Lag(_NONE, "none")
    delay, tau = known["delay"].to_numpy(dtype=float), known["time_constant"].to_numpy(dtype=float)
    value, low, high = repeated(delay + tau, known["sum_se"].to_numpy(dtype=float))
    # Of a step within a few samples it is not known where between two of them it started.
    abrupt = float(np.nanmedian(known["bench_time"])) * fs < _CORNER_SAMPLES
    unsure = NORMAL_95 / fs / np.sqrt(12.0) if abrupt else 0.0
    below, above = float(np.hypot(value - low, unsure)), float(np.hypot(high - value, unsure))
    return Lag(Estimate(value, value - below, value + above), "steps", float(tau.mean()))


def _transition(steps: pd.DataFrame, direction: str) -> Estimate:
    """10-90 % time of the first-order answer to the steps in one direction."""
    chosen = steps[steps["direction"] == direction]
    logs = repeated(
        np.log(chosen["time_constant"].to_numpy(dtype=float)), chosen["log_time_constant_se"].to_numpy(dtype=float)
    )
    value, low, high = (LN9 * float(np.exp(number)) for number in logs)
    return Estimate(value, low, high)


def _creep(steps: pd.DataFrame) -> Estimate:
    """Change during stretched holds, percent of the step."""
    chosen = steps[steps["direction"] == "stretch"]
    return repeated(chosen["creep"].to_numpy(dtype=float), chosen["creep_se"].to_numpy(dtype=float))


def _limits(name: str, estimate: Estimate, factor: float = 1.0) -> dict[str, float]:
    value, low, high = (factor * number for number in estimate)
    return {name: value, f"{name}_low": low, f"{name}_high": high}


def _single_gauge_factor(
    loops: LoopFigures, parts: Mapping[str, LoopFigures], parameters: BenchParameters
) -> tuple[Estimate, str]:
    """Give one gauge factor only where the curve is straight and the recordings agree; limits hold each recording's."""
    limit = parameters.single_gauge_factor_limit_percent
    if _apart(parts):
        each = "; ".join(f"{_words(part.gauge_factor)} in {name}" for name, part in parts.items())
        return _NONE, f"no single value: {each}; they differ beyond their intervals, see sensor_curves"
    worst = loops.linearity.high if np.isfinite(loops.linearity.high) else loops.linearity.value
    ends = f"{loops.curve['gauge_factor'].iloc[0]:.3g} to {loops.curve['gauge_factor'].iloc[-1]:.3g}"
    if worst <= limit:
        note = f"one value: non-linearity at most {worst:.2g} % of full scale (limit {limit:g} %)"
        held = _holding(loops.gauge_factor, [part.gauge_factor for part in parts.values()])
        if held != loops.gauge_factor:
            note += "; its limits hold the interval of each of its recordings"
        return held, note
    return _NONE, (
        f"no single value: non-linearity up to {worst:.2g} % of full scale exceeds {limit:g} %; "
        f"by strain interval {ends}, see sensor_curves"
    )


def _detection_limit(noise: Estimate, loops: LoopFigures | None) -> Estimate:
    """Strain, percent, of three noise floors at the slope of the lowest interval; relative errors of both added."""
    if loops is None or not noise.value > 0.0:
        return _NONE
    first = loops.curve.iloc[0]
    slope = abs(float(first["gauge_factor"]))
    if not slope > 0.0:
        return _NONE
    value = 100.0 * DETECTION_FACTOR * noise.value / slope
    relative = float(first["gauge_factor_high"] - first["gauge_factor_low"]) / 2.0 / slope
    below = float(np.hypot(np.log(noise.value / noise.low), relative))
    above = float(np.hypot(np.log(noise.high / noise.value), relative))
    return Estimate(value, value * float(np.exp(-below)), value * float(np.exp(above)))


def _used(cycles: list[pd.DataFrame], parameters: BenchParameters) -> None:
    """Mark the settled cycles of the largest amplitude and, among these, of the commonest speed."""
    joined = pd.concat(cycles) if cycles else pd.DataFrame()
    settled = joined[joined["settled"]] if len(joined) else joined
    if settled.empty:
        for frame in cycles:
            frame["used"] = False
        return
    largest = float((settled["strain_high"] - settled["strain_low"]).max())
    full = settled["strain_high"] - settled["strain_low"] >= parameters.full_amplitude_fraction * largest
    period = (settled.loc[full, "seconds"]).to_numpy()
    classes = np.round(np.log(period) / np.log(1.25)).astype(int)
    values, counts = np.unique(classes, return_counts=True)
    # At equal counts the slowest, whose figures the sensor's speed disturbs least.
    commonest = values[counts == counts.max()].max()
    for frame in cycles:
        amplitude = frame["strain_high"] - frame["strain_low"]
        speed = np.round(np.log(frame["seconds"]) / np.log(1.25)).astype(int)
        frame["used"] = (
            frame["settled"] & (amplitude >= parameters.full_amplitude_fraction * largest) & (speed == commonest)
        )


def _ratio_to_taps(loops: LoopFigures | None, taps: FloatArray) -> Estimate:
    if loops is None or taps.size == 0:
        return _NONE
    height = (loops.cycles["response_high"] - loops.cycles["response_low"]).to_numpy(dtype=float)
    return ratio_of_means(np.abs(height), np.abs(taps))


def _words(estimate: Estimate) -> str:
    value, low, high = estimate
    return f"{value:.4g} ({low:.4g} to {high:.4g})" if np.isfinite(low) else f"{value:.4g}"


def _holding(whole: Estimate, parts: Sequence[Estimate]) -> Estimate:
    """Widen the limits of a mean to those of its parts, whose cycles are alike within and not between them."""
    if len(parts) < 2 or not np.isfinite(whole.low):
        return whole
    ends = np.array([whole, *parts])
    return Estimate(whole.value, float(np.nanmin(ends)), float(np.nanmax(ends)))


def _apart(parts: Mapping[str, LoopFigures]) -> bool:
    """Whether gauge factors of recordings differ by more than `_LIKE`, and beyond their intervals where there are."""
    found = sorted((part.gauge_factor for part in parts.values()), key=lambda estimate: abs(estimate.value))
    if len(found) < 2 or not abs(found[-1].value) > (1.0 + _LIKE) * abs(found[0].value):
        return False
    least, most = (absolute(end) if np.isfinite(end.low) else end for end in (found[0], found[-1]))
    return not most.low <= least.high


def _warn(
    loops: LoopFigures | None,
    parts: Mapping[str, LoopFigures],
    lag: Lag,
    steps: pd.DataFrame,
    ratio: Estimate,
    creep: Creep,
    longest_hold: float,
) -> list[str]:
    words = []
    if loops is None:
        words.append("no settled cycle found: no gauge factor, linearity, hysteresis, repeatability or drift")
    elif loops.n < 3:
        words.append(f"{loops.n} settled cycles: intervals need 3 or more")
    elif _apart(parts):
        words.append(RECORDINGS_DIFFER)
    if lag.method == NOT_SEPARABLE and loops is not None:
        words.append("hysteresis may hold a clock offset: cycle at two speeds, or add steps, to tell them apart")
    if steps.empty:
        words.append("no step from one hold to another: no response time, no creep")
    if creep.constants and not creep.constants[-1].value < longest_hold:
        words.append("a creep time constant is longer than the holds")
    if np.isfinite(ratio.value) and ratio.value <= 1.0:
        words.append("a local tap answers no less than a stretch of the whole length: check the mounting")
    return words


def characterise(recordings: Sequence[BenchRecording], parameters: BenchParameters | None = None) -> SensorBench:
    """Characterise one sensor.

    Parameters
    ----------
    recordings : sequence of BenchRecording
        All bench recordings of the sensor, of one session or more.
    parameters : BenchParameters, optional

    Returns
    -------
    SensorBench
        Every figure that the protocol allows; the others NaN, with the reason in ``warnings``. Intervals are 95 %.
    """
    parameters = parameters or BenchParameters()
    stretches = [r for r in recordings if r.task == "stretch" and r.reference is not None and moves(r.reference)]
    holds = [find_holds(r.reference, r.sampling_frequency, parameters) for r in stretches if r.reference is not None]
    cycles = [_settled_cycles(r, parameters) for r in stretches]
    for frame, piece in zip(cycles, stretches, strict=True):
        frame["seconds"] = (frame["stop"] - frame["start"]) / piece.sampling_frequency
    _used(cycles, parameters)
    tables = []
    for piece, found in zip(stretches, holds, strict=True):
        assert piece.reference is not None
        table = step_table(piece.response, piece.reference, piece.sampling_frequency, found)
        tables.append(table.assign(recording_id=piece.recording_id))
    filled = [table for table in tables if len(table)]
    steps = pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=[*STEP_COLUMNS, "recording_id"])

    lags = []
    for piece, frame in zip(stretches, cycles, strict=True):
        assert piece.reference is not None
        lag = _lag_of_steps(steps[steps["recording_id"] == piece.recording_id], piece.sampling_frequency)
        if lag.method == "none":
            lag = estimate_lag(piece.response, piece.reference, piece.sampling_frequency, frame[frame["settled"]])
        lags.append(lag)
    pieces = [
        (piece.response, piece.reference, piece.sampling_frequency, frame, lag)
        for piece, frame, lag in zip(stretches, cycles, lags, strict=True)
        if piece.reference is not None
    ]
    loops = loop_figures(pieces, parameters)
    own = {r.recording_id: loop_figures([piece], parameters) for r, piece in zip(stretches, pieces, strict=True)}
    parts = {name: figures for name, figures in own.items() if figures is not None}
    lag = next((lag for lag, frame in zip(lags, cycles, strict=True) if frame["used"].any()), Lag(_NONE, "none"))

    rests = [
        rest for piece, found, lag in zip(stretches, holds, lags, strict=True) for rest in _rests(piece, found, lag)
    ]
    noise = noise_floor(rests)
    creep_spans = [part for piece, table in zip(stretches, tables, strict=True) for part in _creep_spans(piece, table)]
    creep = creep_constants(creep_spans)
    response_time, recovery_time = _transition(steps, "stretch"), _transition(steps, "release")
    tap_frames = [
        find_taps(r.response, r.sampling_frequency).assign(recording_id=r.recording_id, fs=r.sampling_frequency)
        for r in recordings
        if r.task == "tap"
    ]
    taps = pd.concat(tap_frames, ignore_index=True) if tap_frames else pd.DataFrame({"amplitude": []})
    ratio = _ratio_to_taps(loops, taps["amplitude"].to_numpy(dtype=float))
    longest = max((span.response.size / span.sampling_frequency for span in creep_spans), default=0.0)
    words = _warn(loops, parts, lag, steps, ratio, creep, longest)

    row: dict[str, float | int | str | None] = {
        "n_recordings": len(recordings),
        "n_cycles": loops.n if loops else 0,
        "n_steps": len(steps),
        "n_taps": len(taps),
        "strain_full_scale": 100.0 * loops.full_scale_strain if loops else np.nan,
        "response_full_scale": loops.full_scale_response if loops else np.nan,
        "gauge_factor_note": None,
        "lag_method": lag.method,
        "warning": "; ".join(words) or None,
    }
    gauge_factor = _NONE
    if loops:
        gauge_factor, row["gauge_factor_note"] = _single_gauge_factor(loops, parts, parameters)
    full = loops.full_scale_response if loops else np.nan
    signal = Estimate(full / noise.value, full / noise.high, full / noise.low) if noise.value > 0 else _NONE
    constants = [*creep.constants, _NONE, _NONE][:2]
    row |= _limits("gauge_factor", gauge_factor)
    row |= _limits("linearity", loops.linearity if loops else _NONE)
    row |= _limits("linearity_least_squares", loops.linearity_least_squares if loops else _NONE)
    row |= _limits("hysteresis", loops.hysteresis if loops else _NONE)
    row |= _limits("repeatability", loops.repeatability if loops else _NONE)
    row |= _limits("drift", loops.drift if loops else _NONE)
    row |= _limits("creep", _creep(steps))
    row |= _limits("creep_time_1", constants[0])
    row |= _limits("creep_time_2", constants[1])
    row |= _limits("response_time", response_time)
    row |= _limits("recovery_time", recovery_time)
    row |= _limits("noise_floor", noise)
    row |= _limits("signal_to_noise", signal)
    row |= _limits("detection_limit", _detection_limit(noise, loops))
    row |= _limits("stretch_to_tap_ratio", ratio)
    row |= _limits("lag", lag.estimate)
    shown: Mapping[str, LoopFigures] = {"": loops} if loops else {}
    if _apart(parts):
        row |= {name: np.nan for name in row if name.removesuffix("_low").removesuffix("_high") in _OF_THE_GAIN}
        shown = parts
    return SensorBench(
        row=row,
        curves=_curve_rows(shown),
        loops=_loop_rows(shown),
        cycles=_cycle_rows(cycles, stretches, loops, taps),
        steps=_step_rows(steps),
        warnings=tuple(words),
    )


def _curve_rows(shown: Mapping[str, LoopFigures]) -> pd.DataFrame:
    names = ["strain_low", "strain_high", "gauge_factor", "gauge_factor_low", "gauge_factor_high", "r2", "n"]
    frames = [
        loops.curve.assign(
            strain_low=100.0 * loops.curve["strain_low"], strain_high=100.0 * loops.curve["strain_high"],
            recording_id=recording or None,
        )
        for recording, loops in shown.items()
    ]  # fmt: skip
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=[*names, "recording_id"])


def _loop_rows(shown: Mapping[str, LoopFigures]) -> pd.DataFrame:
    names = ["strain", "loading", "unloading", "loading_sd", "unloading_sd"]
    frames = [
        loops.loop.assign(strain=100.0 * loops.loop["strain"], recording_id=recording or None)
        for recording, loops in shown.items()
    ]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=[*names, "recording_id"])


def _cycle_rows(
    cycles: list[pd.DataFrame], stretches: list[BenchRecording], loops: LoopFigures | None, taps: pd.DataFrame
) -> pd.DataFrame:
    frames = []
    for frame, piece in zip(cycles, stretches, strict=True):
        frames.append(
            pd.DataFrame(
                {
                    "recording_id": frame["recording_id"],
                    "kind": "stretch",
                    "position": frame["position"],
                    "onset": frame["start"] / piece.sampling_frequency,
                    "duration": frame["seconds"],
                    "strain_low": 100.0 * frame["strain_low"],
                    "strain_high": 100.0 * frame["strain_high"],
                    "used": frame["used"].astype(bool),
                }
            )
        )
    names = ["recording_id", "kind", "onset", "duration", "strain_low", "strain_high", "used"]
    measured = ["response_low", "response_high", "hysteresis", "gauge_factor"]
    table = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=[*names, "position"])
    if loops is not None:
        table = table.merge(loops.cycles, on=["recording_id", "position"], how="left")
    for name in measured:
        if name not in table:
            table[name] = np.nan
    table = table[[*names, *measured]]
    if len(taps):
        rows = pd.DataFrame(
            {
                "recording_id": taps["recording_id"],
                "kind": "tap",
                "onset": taps["peak"] / taps["fs"],
                "duration": 0.0,
                "used": True,
                "response_high": taps["amplitude"],
            }
        ).reindex(columns=[*names, *measured])
        table = pd.concat([table, rows], ignore_index=True) if len(table) else rows
    return table


def _step_rows(steps: pd.DataFrame) -> pd.DataFrame:
    kept = steps.drop(columns=["delay_se", "log_time_constant_se", "sum_se", "creep_se"])
    return kept.assign(strain_from=100.0 * steps["strain_from"], strain_to=100.0 * steps["strain_to"])
