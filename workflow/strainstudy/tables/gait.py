"""Columns of ``tables/gait.tsv``: one row of gait measures per recording and gait state."""

from __future__ import annotations

from typing import Final

from ..vocabulary import SIDES
from .spec import Column, TableSpec, count, interval, number, text

__all__ = ["ANSWERS", "ERRORS", "GAIT", "MEASURED", "USUAL"]

_AMOUNTS: dict[str, tuple[str, str, str | None]] = {
    "stride_time": ("stride time", "time from an initial contact to the next of the same side", "s"),
    "step_time": ("step time", "time from the other side's initial contact to this side's next", "s"),
    "swing_peak": ("swing peak", "highest flexion in swing; n/a without a calibrated angle", "deg"),
    "range_of_motion": (
        "range of motion",
        "greatest minus least knee angle in the stride; n/a without a calibrated angle",
        "deg",
    ),
    "amplitude": ("swing amplitude", "swing peak minus the response at initial contact, in its unit", None),
    "response_range": ("range of the response", "greatest minus least response in the stride, in its unit", None),
    "stance_time": ("stance time", "time from initial contact to toe-off", "s"),
    "swing_time": ("swing time", "time from toe-off to initial contact", "s"),
    "stance_fraction": ("stance fraction", "stance time as a part of the stride", "1"),
}
_ASYMMETRIES: dict[str, tuple[str, str, str | None]] = {
    "symmetry_index": (
        "symmetry index",
        "(right - left) / (0.5 (right + left)) x 100 (Robinson et al. 1987); positive when the right is larger",
        "percent",
    ),
    "symmetry_angle": (
        "symmetry angle",
        "(45 deg - arctan(left / right)) / 90 deg x 100 (Zifchock et al. 2008); positive when the right is larger",
        "percent",
    ),
    "symmetry_ratio": ("symmetry ratio", "right / left (Patterson et al. 2010)", "1"),
    "log_ratio": (
        "log ratio",
        "100 ln(right / left), in size the gait asymmetry of Plotnik et al. 2005; positive when the right is larger",
        "percent",
    ),
}
_WHOLE: dict[str, tuple[str, str, str | None]] = {
    "cadence": ("cadence", "steps per minute, 120 / mean stride time", "1/min"),
    "stride_time_mean": ("mean stride time", "mean over the strides of both sides", "s"),
    "stride_time_sd": (
        "stride-time SD",
        "standard deviation of the strides about the mean of their side, both sides pooled",
        "s",
    ),
    "stride_time_cv": ("stride-time CV", "stride-time SD as a part of the mean stride time", "percent"),
    "phase_mean": (
        "mean phase",
        "phase of the other foot's contact in the stride of the leg with the longer swing (Plotnik et al. 2007)",
        "deg",
    ),
    "phase_deviation": ("phase deviation", "mean size of the phase minus 180 degrees", "deg"),
    "coordination_index": (
        "phase coordination index",
        "CV of the phase plus mean deviation from 180 degrees as percent of 180 (Plotnik et al. 2007)",
        "percent",
    ),
    "waveform_likeness": (
        "waveform likeness",
        "Pearson correlation of the mean stride curves of the two knees",
        "1",
    ),
}


def _columns() -> tuple[Column, ...]:
    columns = [
        text("recording_id", "recording", "Recording the strides are from."),
        text("trial_type", "gait state", "normal_gait, limping_gait or gait."),
        count("n_strides", "strides", "Steady strides of both sides; starts, stops and turns left out."),
        count("n_strides_left", "left strides", "Steady strides of the left side."),
        count("n_strides_right", "right strides", "Steady strides of the right side."),
        text("warning", "warning", "Why a measure of this row should not be relied on."),
    ]
    for name, (title, words, unit) in _WHOLE.items():
        columns += interval(name, title, words, unit)
    for side in ("left", "right"):
        for name, (title, words, unit) in _AMOUNTS.items():
            columns += interval(f"{name}_mean_{side}", f"mean {title}, {side}", f"Mean {words}.", unit)
        columns += interval(
            f"swing_peak_timing_mean_{side}",
            f"mean swing peak timing, {side}",
            "Mean time of the highest flexion in swing as a part of the stride.",
            "percent",
        )
        columns += interval(
            f"stride_regularity_{side}",
            f"stride regularity, {side}",
            "Autocorrelation of the knee curve at a lag of one stride, mean over strides.",
            "1",
        )
    for quantity in ("step_time", "amplitude", "response_range", "range_of_motion", "stance_time", "swing_time"):
        for name, (title, words, unit) in _ASYMMETRIES.items():
            label = _AMOUNTS[quantity][0]
            columns += interval(f"{quantity}_{name}", f"{label}, {title}", f"Of mean {label}: {words}.", unit)
    columns += interval(
        "swing_peak_timing_difference",
        "difference of swing peak timing",
        "Swing peak timing of the right knee minus that of the left.",
        "percent",
    )
    return tuple(columns)


GAIT = TableSpec(
    path="tables/gait.tsv",
    title="Gait measures",
    description="One row per recording and gait state: measures of its steady strides, each with 95 % limits of the "
    "person's usual value of that day in that state. In them are, in quadrature, that a few strides are a sample "
    "(bootstrap over strides, widened because strides resemble the ones before) and, where a column with _error gives "
    "it, the error of measurement of these strides, which no number of strides makes smaller. Amplitudes and ranges in "
    "the unit of the response, likeness and regularity have the first part alone.",
    columns=_columns(),
    key=("recording_id", "trial_type"),
)

ANSWERS: Final = tuple(
    column
    for side in SIDES
    for column in (
        number(
            f"answer_time_{side}",
            f"Answering time undone, {side}",
            "Time constant of the sensor's first-order answer, undone in contacts and angles; n/a for a joint angle. "
            "Where no labels measured the error of contacts, that of a measured answer is in the intervals of step "
            "time, its asymmetry and phase.",
            "s",
            4,
        ),
        text(
            f"answer_time_source_{side}",
            f"Answering time, {side}, from",
            "bench (its steps), reference (an angle beside the sensor) or assumed (the setting "
            "calibrate.response_time_s); n/a for a joint angle.",
        ),
    )
)
"""What the stage that writes the table adds: how the sensors' own answers were undone."""

USUAL: Final = "usual value: strides as a sample, and their error of measurement"
MEASURED: Final = (
    "cadence",
    "stride_time_mean",
    "stride_time_sd",
    "stride_time_cv",
    "phase_mean",
    "phase_deviation",
    "coordination_index",
    *(
        f"{name}_mean_{side}"
        for side in SIDES
        for name in (*(n for n in _AMOUNTS if n not in ("amplitude", "response_range")), "swing_peak_timing")
    ),
    *(
        f"{name}_{title}"
        for name in ("step_time", "range_of_motion", "stance_time", "swing_time")
        for title in _ASYMMETRIES
    ),
    "swing_peak_timing_difference",
)
"""Measures whose error of measurement is known."""
ERRORS: Final = (
    text(
        "interval_kind",
        "What the limits are",
        "What _low and _high of this row hold in 95 of 100 cases: the person's usual value of that day in that state.",
    ),
    text(
        "error_source",
        "Error of measurement from",
        "Where the errors of contact and toe-off come from: labels of other people of this study in the same state "
        "(five or more), pooled with force plates by degrees of freedom where that makes the error larger; else force "
        "plates alone. The scatter of single contacts is always that of force plates, the error "
        "of an angle that of its calibration.",
    ),
    *(
        number(
            f"{name}_error",
            f"{name.replace('_', ' ')}, error of measurement",
            f"Half width of a 95 % interval about {name}: what landmarks (and angles) without error would have given "
            "for these same strides lies in it.",
            next(column.unit for column in GAIT.columns if column.name == name),
        )
        for name in MEASURED
    ),
)
"""What the stage that writes the table adds: how well these strides were measured."""
