"""Figures of sensors: on the bench, over the study, and as an angle.

In: result tables and the conditioned signals of the bench. Out: pictures; nothing is computed here but what is needed
to draw (offsets, scales).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.ticker import NullLocator

from ..io.store import FloatArray, Trace
from ..tables.angles import CALIBRATIONS
from ..tables.bends import KNEE_BENDS
from ..tables.sensors import BENCH_CYCLES, BENCH_STEPS, SENSOR_CURVES, SENSOR_HEALTH, SENSOR_LOOPS, SENSORS
from .content import Picture, interval_text, number_text
from .names import sensor_figure
from .results import StudyTables, records
from .spoken import spoken
from .strips import MOST_DOTS, SHARES, draw_strips, looked_at, strips_of
from .style import ALERT, BLACK, GREY, PLAIN, SIDE_COLOURS, drawing, panels, written

__all__ = [
    "bench_figure", "calibration_figure", "draw_gains", "draw_health", "draw_holds", "health_figure", "held_angles",
]  # fmt: skip

_MOST_SENSORS = 24
"""Sensors that are drawn one by one (ours)."""
_OFF_DEG = 10.0
"""Degrees between hold and reading from which on the recording is named (ours)."""
_BAND_DEG = 15.0
"""Degrees between the middles of bands of holds (ours: protocols go in steps of 15 or 30)."""
_BAND_SHIFT_DEG = 2.2
"""Degrees that the bands of the two sides are drawn apart from their angle (ours)."""
_NAMED = 3
"""Recordings named in the figure (ours)."""
_SIDE_LOOKS = {"left": ("o", -1.0), "right": ("s", 1.0)}
"""Marker of a side, and to which side of an angle it is drawn."""
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
"""Digits and minus of an exponent."""
_BEFORE_S = 0.6
"""Seconds before a hold that its figure begins (ours: the way there is in it)."""
# There is one such figure a sensor: its room is fixed, because working it out takes a second each.
_ROOM = {"left": 0.085, "right": 0.985, "bottom": 0.095, "top": 0.945, "wspace": 0.22, "hspace": 0.38}


def _loop(axis: Any, loop: pd.DataFrame, row: Mapping[str, Any]) -> None:
    for _, own in loop.groupby("recording_id", sort=True, dropna=False):
        x = own["strain"].to_numpy()
        for name, colour, style in (("loading", PLAIN, "-"), ("unloading", PLAIN, "--")):
            y, sd = own[name].to_numpy(), own[f"{name}_sd"].to_numpy()
            axis.plot(x, y, style, color=colour, label=name)
            axis.fill_between(x, y - sd, y + sd, color=colour, alpha=0.2, linewidth=0)
        axis.plot(x[[0, -1]], own["loading"].to_numpy()[[0, -1]], ":", color=GREY, label="terminal line")
    if len(loop):
        handles, names = axis.get_legend_handles_labels()
        axis.legend(handles[:3], names[:3], loc="upper left")
    axis.set(xlabel="strain (%)", ylabel="ΔR/R (1)", title="Loop")
    text = (
        f"hysteresis {number_text(row.get('hysteresis'), 2)} %\nnon-linearity {number_text(row.get('linearity'), 2)} %"
    )
    axis.text(0.97, 0.05, text, transform=axis.transAxes, ha="right", va="bottom", fontsize=8)


def _curve(axis: Any, curve: pd.DataFrame) -> None:
    middle = 0.5 * (curve["strain_low"] + curve["strain_high"]).to_numpy(dtype=float)
    value = curve["gauge_factor"].to_numpy(dtype=float)
    below = value - curve["gauge_factor_low"].fillna(curve["gauge_factor"]).to_numpy(dtype=float)
    above = curve["gauge_factor_high"].fillna(curve["gauge_factor"]).to_numpy(dtype=float) - value
    for low, high, y in curve[["strain_low", "strain_high", "gauge_factor"]].to_numpy(dtype=float):
        axis.plot([low, high], [y, y], color=PLAIN, linewidth=2.2)
    axis.errorbar(middle, value, yerr=[below, above], fmt="none", ecolor=BLACK, capsize=3, linewidth=1)
    spread = float(np.ptp(value)) if value.size else 0.0
    if value.size:
        room = max(spread, 0.05 * abs(float(value.mean()))) * 0.6
        axis.set_ylim(value.min() - room, value.max() + room)
    axis.set(xlabel="strain (%)", ylabel="gauge factor (1)", title="Gauge factor by strain interval, 95 %")


def _step(axis: Any, steps: pd.DataFrame, traces: Mapping[str, Mapping[str, Trace]]) -> None:
    """First stretch step and its hold: response over its level at the end, reference over its own."""
    axis.set(xlabel="time from the step (s)", ylabel="share of the step (1)", title="Step and hold")
    chosen = steps[steps["direction"] == "stretch"]
    found = [s for s in records(chosen) if "sensor" in traces.get(str(s["recording_id"]), {})]
    if not found:
        axis.text(0.5, 0.5, "no step from one hold to another", ha="center", va="center", transform=axis.transAxes)
        return
    step = found[0]
    own = traces[str(step["recording_id"])]
    reference = next((own[p] for p in ("reference_strain", "reference_displacement") if p in own), None)
    lines: list[tuple[Trace, FloatArray, str, str]] = [(own["sensor"], own["sensor"]["response"], PLAIN, "sensor")]
    if reference is not None:
        lines.insert(0, (reference, reference["response"], GREY, "reference"))
    for trace, values, colour, label in lines:
        time = trace.time - float(step["onset"])
        inside = (time > -_BEFORE_S) & (time < float(step["duration"]))
        before = values[(time > -_BEFORE_S) & (time < -0.2)]
        end = values[(time > 0.8 * float(step["duration"])) & (time < float(step["duration"]))]
        if not (np.isfinite(before).any() and np.isfinite(end).any()):
            continue
        low, high = float(np.nanmean(before)), float(np.nanmean(end))
        if high != low:
            axis.plot(time[inside] + _BEFORE_S, (values[inside] - low) / (high - low), color=colour, label=label)
    axis.set_xscale("log")
    axis.xaxis.set_minor_locator(NullLocator())
    # set as mathematics, each would be parsed anew for every form
    axis.xaxis.set_major_formatter(lambda x, _: f"10{str(round(np.log10(x))).translate(_RAISED)}")
    axis.set_xlim(0.1, float(step["duration"]))
    axis.set_xlabel(f"time from {_BEFORE_S:g} s before the hold (s), logarithmic")
    axis.legend(loc="lower right")


def _cycles(axis: Any, cycles: pd.DataFrame) -> None:
    used = cycles[cycles["used"].fillna(value=False).astype(bool) & (cycles["kind"] == "stretch")]
    span = (used["response_high"] - used["response_low"]).abs().mean()
    first = 1
    for _, own in used.groupby("recording_id", sort=True):
        number = np.arange(first, first + len(own))
        first += len(own)
        low = own["response_low"].to_numpy(dtype=float)
        axis.plot(number, own["hysteresis"].to_numpy(dtype=float), "o-", color=PLAIN, markersize=4,
                  label="hysteresis (% of full scale)")  # fmt: skip
        axis.plot(number, 100.0 * (low - low[0]) / span, "s--", color=GREY, markersize=4,
                  label="low end, from the first (%)")  # fmt: skip
    if len(used):
        handles, names = axis.get_legend_handles_labels()
        axis.legend(handles[:2], names[:2], loc="center left")
    axis.set(xlabel="settled full cycle", ylabel="% of full scale", title="Cycles over time")


def bench_figure(
    tables: StudyTables, traces: Mapping[str, Mapping[str, Trace]], name: str, folder: Path
) -> Picture | None:
    """Draw the four panels of a sensor of the bench.

    Parameters
    ----------
    tables : StudyTables
    traces : mapping of recording to tracked point to Trace
        Bench recordings.
    name : str
        Of the figure, as `sensor_figure` makes it of the sensor.
    folder : Path
        Where figures are written.

    Returns
    -------
    Picture or None
        None for a sensor without a loop.
    """
    sensors = tables(SENSORS)
    named = sensors[[sensor_figure(str(sensor)) == name for sensor in sensors["sensor_id"]]]
    if named.empty:
        return None
    row = records(named)[0]
    sensor = str(row["sensor_id"])
    loop, curve, steps, cycles = (
        frame[frame["sensor_id"] == sensor]
        for frame in (tables(SENSOR_LOOPS), tables(SENSOR_CURVES), tables(BENCH_STEPS), tables(BENCH_CYCLES))
    )
    if loop.empty:
        return None
    with drawing():
        figure, axes = panels(2, 2, width=7.4, height=5.0, room=_ROOM)
        _loop(axes[0, 0], loop, row)
        _curve(axes[0, 1], curve)
        _step(axes[1, 0], steps, traces)
        _cycles(axes[1, 1], cycles)
        png = written(figure, name, folder)
    apart = " of each recording, as they differ in gauge factor" if loop["recording_id"].notna().any() else ""
    return Picture(
        name,
        f"Sensor {sensor} on the bench",
        f"Mean loop{apart} over n = {row['n_cycles']} settled cycles (bands: SD over cycles); gauge factor by "
        f"strain interval with 95 % intervals over cycles; first step and its hold, response low-passed as in "
        f"the study (time constants are from the unfiltered signal); hysteresis and low end of each cycle. "
        f"n = {row['n_steps']} steps, {row['n_taps']} taps. Gauge factor: {row['gauge_factor_note']}.",
        f"Four panels. Hysteresis {interval_text(row, 'hysteresis', 2)} % of full scale, response time "
        f"{interval_text(row, 'response_time', 2)} s.",
        png,
    )


def draw_health(axis: Any, health: pd.DataFrame) -> None:
    """Draw one measure of all sensors in order of use, as percent from each sensor's centre line.

    Parameters
    ----------
    axis : Axes
    health : DataFrame
        Rows of ``tables/sensor_health.tsv`` of one measure. Of more than `_MOST_SENSORS` those that never left their
        limits are drawn as one band, of the middle 90 %.
    """
    health = health.assign(share=100.0 * (health["value"] / health["centre"] - 1.0))
    bad = set(health.loc[health["flagged"].fillna(value=False).astype(bool), "sensor_id"])
    sensors = sorted(health["sensor_id"].unique())
    many = len(sensors) > _MOST_SENSORS
    position, ticks, names = 0.0, [], []
    if many:
        calm = health.loc[~health["sensor_id"].isin(bad), "share"].dropna().to_numpy(dtype=float)
        if calm.size:
            low, high = np.quantile(calm, [0.05, 0.95])
            axis.bar(1.0, high - low, bottom=low, width=2.0, color=PLAIN, alpha=0.5, linewidth=0)
            ticks, names, position = [1.0], [f"{len(sensors) - len(bad)} others"], 4.0
    for sensor in [s for s in sensors if s in bad] if many else sensors:
        rows = health[health["sensor_id"] == sensor]
        x = position + np.arange(len(rows))
        share = rows["share"].to_numpy(dtype=float)
        flagged = rows["flagged"].fillna(value=False).to_numpy(dtype=bool)
        low, high = (
            100.0 * (rows[f"limit_{end}"] / rows["centre"] - 1.0).to_numpy(dtype=float) for end in ("low", "high")
        )
        axis.plot(x, share, "-o", color=PLAIN, markersize=3.5, linewidth=0.8)
        axis.plot(x[flagged], share[flagged], "D", color=ALERT, markersize=6)
        axis.fill_between(np.r_[x[0] - 0.4, x[-1] + 0.4], low[0], high[0], color=GREY, alpha=0.18, linewidth=0)
        ticks.append(float(x.mean()))
        names.append(sensor)
        position = float(x[-1]) + 2.0
    axis.set_xticks(ticks, names, rotation=30, ha="right")
    axis.set(ylabel="% from the centre line")
    axis.grid(visible=False, axis="x")


def health_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw the control charts of all sensors, each value relative to its sensor's centre line."""
    health = tables(SENSOR_HEALTH)
    health = health[health["value"].notna()]
    if health.empty:
        return None
    measures = [m for m in ("rest_resistance", "gauge_factor", "noise") if (health["measure"] == m).any()]
    with drawing():
        figure, axes = panels(len(measures), 1, width=7.4, height=0.9 + 2.0 * len(measures))
        for axis, measure in zip(axes[:, 0], measures, strict=True):
            draw_health(axis, health[health["measure"] == measure])
            axis.set_title(spoken(measure).capitalize())
        png = written(figure, "sensor_health", folder)
    bad = health[health["flagged"].fillna(value=False).astype(bool)]
    return Picture(
        "sensor_health",
        "Sensors over the study",
        "Each point is one session of one sensor, in order of use, as percent from the middle of its sessions (the "
        "median on logarithms; of two sessions from the first); grey: control limits (3 standard deviations from "
        "moving ranges pooled over all sensors); diamonds: outside, "
        f"n = {len(bad)} of {len(health)}. One-use sensors have no limits.",
        f"Control charts of {health['sensor_id'].nunique()} sensors; "
        f"{f'{len(bad)} values' if len(bad) != 1 else '1 value'} outside the limits.",
        png,
        first=", ".join(sorted({str(s) for s in bad["sensor_id"]})),
    )


def draw_holds(axis: Any, holds: pd.DataFrame) -> list[str]:
    """Draw the angle read in each hold against the angle it was held at, sides beside each other.

    Parameters
    ----------
    axis : Axes
    holds : DataFrame
        recording_id, side, nominal and angle (deg). Of a side with more than `MOST_DOTS` bands stand for the holds: the
        middle 50 and 90 % of those at about the same angle.

    Returns
    -------
    list of str
        Recordings with a hold that is read more than 10 degrees off, farthest first.
    """
    off = (holds["angle"] - holds["nominal"]).abs()
    for side, (marker, sign) in _SIDE_LOOKS.items():
        own, colour = holds[holds["side"] == side], SIDE_COLOURS[side]
        far = own[off[own.index] > _OFF_DEG]
        if len(own) <= MOST_DOTS:
            axis.plot(own["nominal"] + 0.8 * sign, own["angle"], marker, color=colour, markersize=3.5, alpha=0.7)
        else:
            near = (own["nominal"] / _BAND_DEG).round() * _BAND_DEG
            for angle, rows in own.groupby(near, sort=True):
                at = float(angle) + _BAND_SHIFT_DEG * sign
                read = rows["angle"].to_numpy() - rows["nominal"].to_numpy() + float(angle)
                for share, width, alpha in SHARES:
                    low, high = np.quantile(read, [0.5 - share / 2, 0.5 + share / 2])
                    axis.bar(at, high - low, bottom=low, width=4.0 * width, color=colour, alpha=alpha, linewidth=0)
                axis.plot([at - 1.3, at + 1.3], [np.median(read)] * 2, color=BLACK, linewidth=1.2)
            axis.plot(far["nominal"] + _BAND_SHIFT_DEG * sign, far["angle"], "D", color=ALERT, markersize=4)
        axis.plot([], [], marker, color=colour, markersize=4, label=f"{side} knee (n = {len(own)})")
    worst = holds.assign(off=off)[off > _OFF_DEG].sort_values(["off", "recording_id"], ascending=[False, True])
    worst = worst.drop_duplicates("recording_id")
    for row in records(worst)[:_NAMED]:
        name = str(row["recording_id"]).removeprefix("sub-")
        axis.annotate(name, (row["nominal"], row["angle"]), (-5, 3), textcoords="offset points", ha="right",
                      fontsize=6.5, color=ALERT)  # fmt: skip
    if len(holds):
        ends = np.array([holds["nominal"].min() - 5, holds["nominal"].max() + 5])
        axis.plot(ends, ends, ":", color=GREY, label="equal")
        axis.legend(loc="upper left")
    axis.set(xlabel="nominal angle of the hold (deg)", ylabel="calibrated angle (deg)")
    return [str(name) for name in worst["recording_id"]]


def draw_gains(axis: Any, gains: pd.DataFrame) -> list[str]:
    """Draw the response per degree of every calibration, a row for each knee and session.

    Parameters
    ----------
    axis : Axes
    gains : DataFrame
        Rows of ``tables/calibrations.tsv`` with a ``response_per_degree``.

    Returns
    -------
    list of str
        People whose gain lies far from the others of the row, farthest first.
    """
    gains = gains.assign(gain=1000.0 * gains["response_per_degree"].abs())
    rows = []
    for session, of_session in gains.groupby(gains["session_id"].fillna("no session").astype(str), sort=True):
        for side, (marker, _) in _SIDE_LOOKS.items():
            own = of_session[of_session["tracked_point"] == f"{side}_knee"]
            rows.append((f"{session}, {side} knee (n = {len(own)})", SIDE_COLOURS[side], marker, own))
    odd = draw_strips(axis, strips_of(rows, "gain", "participant_id"))
    axis.set(xlabel="response per degree (10⁻³ / deg)")
    return odd


def calibration_figure(
    tables: StudyTables, labels: Mapping[str, Mapping[str, pd.DataFrame]], folder: Path
) -> Picture | None:
    """Draw the angle read in each labelled hold against its nominal angle, and the gain of each calibration."""
    calibrations = tables(CALIBRATIONS)
    pairs = held_angles(tables(KNEE_BENDS), labels)
    gains = calibrations[calibrations["response_per_degree"].notna()]
    if pairs.empty and gains.empty:
        return None
    with drawing():
        rows = 2 * gains["session_id"].nunique(dropna=False)
        figure, axes = panels(1, 2, width=8.6, height=max(3.4, 0.9 + 0.19 * rows))
        off, odd = draw_holds(axes[0, 0], pairs), draw_gains(axes[0, 1], gains)
        axes[0, 0].set_title("Holds")
        axes[0, 1].set_title("Gain of each sleeve and sensor")
        png = written(figure, "knee_calibration", folder)
    return Picture(
        "knee_calibration",
        "Knee calibration",
        f"Left: calibrated angle of each labelled hold against its nominal angle, n = {len(pairs)} holds of "
        f"{pairs['recording_id'].nunique()} recordings{_made_maps(pairs, tables)}. Right: response per degree "
        f"of n = {len(gains)} calibrations: why raw amplitudes of two knees cannot be compared. More than "
        f"{MOST_DOTS} in a row or a knee are drawn as bands of the middle 50 and 90 %, holds together that are within "
        "7.5 degrees of each other; the stroke is the median.",
        "Calibrated against nominal angle, and the gain of each calibration.",
        png,
        first=looked_at([*off, *odd]),
    )


def _made_maps(pairs: pd.DataFrame, tables: StudyTables) -> str:
    """Say which holds made the maps, and so cannot show how right they are."""
    recordings = tables.recordings
    bent = set(recordings.loc[recordings["task"] == "bend", "recording_id"])
    n = int(pairs["recording_id"].isin(bent).sum())
    if not n:
        return "; none of them made a map"
    words = "they made the maps, so that this shows consistency, not accuracy"
    if n == len(pairs):
        return f"; {words}"
    are = "is" if n == 1 else "are"
    return f"; {n} {are} of bend recordings: {words}; {len(pairs) - n} of other recordings made no map"


def held_angles(bends: pd.DataFrame, labels: Mapping[str, Mapping[str, pd.DataFrame]]) -> pd.DataFrame:
    """Pair labelled holds with the bends detected during them.

    Parameters
    ----------
    bends : DataFrame
        ``tables/knee_bends.tsv``.
    labels : mapping of recording to rater to DataFrame
        The rater who counts first.

    Returns
    -------
    DataFrame
        recording_id, side, nominal, angle (deg).
    """
    known = bends[bends["angle"].notna()]
    found = {
        name: (
            own["side"].fillna("").to_numpy(dtype=object),
            *(own[column].to_numpy(dtype=float) for column in ("onset", "duration", "angle")),
        )
        for name, own in known.groupby("recording_id", sort=False)
    }
    rows = []
    for recording, raters in sorted(labels.items()):
        if recording not in found or not raters:
            continue
        sides, onset, duration, angle = found[recording]
        marks = next(iter(raters.values()))
        held = marks[(marks["trial_type"] == "knee_bend") & marks["value"].notna() & marks["side"].notna()]
        for mark in records(held):
            middle = float(mark["onset"]) + 0.5 * float(mark["duration"])
            hit = np.flatnonzero((sides == mark["side"]) & (onset <= middle) & (onset + duration >= middle))
            if hit.size:
                rows.append((recording, mark["side"], float(mark["value"]), float(angle[hit[0]])))
    return pd.DataFrame(rows, columns=["recording_id", "side", "nominal", "angle"])
