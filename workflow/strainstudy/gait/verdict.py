"""Is it the sensor or the gait? A weaker signal on one side may be a limp, or a stiffer sleeve, or a tired sensor.

In: summary numbers of one walk, each with its 95 % interval: the amplitude of the right knee over that of the left
as recorded, what the sensors' own gains explain of it, the same after calibration, and the asymmetries that no
gain can produce (step time, phase, timing of peaks; waveform shape, with care). Out: a verdict, a side or none, and
one sentence of evidence.

The rule follows from one product: recorded ratio = gain ratio x ratio of the movement. Without a calibration the
first number alone fixes neither factor, so amplitude alone never makes a limp and never names a side. A gain scales
the ordinate and leaves every time alone, so an asymmetry of timing is one of the gait. A sensor's curve bends the shape
of a wave, so an asymmetry of shape alone counts only after calibration.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from ..tables.spec import interval, text
from .verdict_parameters import VerdictParameters

__all__ = [
    "CANNOT_TELL",
    "NO_ASYMMETRY",
    "VERDICTS",
    "VERDICT_COLUMNS",
    "Measured",
    "Verdict",
    "VerdictParameters",
    "WalkEvidence",
    "gain_ratio_of_bends",
    "ratio_of_symmetry_index",
    "sensor_or_gait",
]

_NORMAL_95: Final = 1.96
"""Standard errors from a mean to a limit of 95 % (normal distribution)."""
NO_ASYMMETRY: Final = "no asymmetry found"
CANNOT_TELL: Final = "cannot be told apart without a bend calibration"
VERDICTS: Final = {
    NO_ASYMMETRY: "nothing beyond the limits; uncalibrated, equal amplitudes prove no equal movement",
    "gait": "an asymmetry that no gain of the sensors can have made",
    "sensor": "the amplitudes differ as recorded and agree once calibrated; timing is symmetric",
    "gait and sensor": "the gait is asymmetric, and the sensors differ as well",
    CANNOT_TELL: "the amplitudes differ, timing is symmetric, and no calibration says which it is",
    "not certain": "an interval crosses its limit: more strides, or a better calibration, would decide",
    "not enough data": "too few strides, or one knee only",
}

VERDICT_COLUMNS: Final = (
    text(
        "verdict",
        "Sensor or gait",
        "One of: " + "; ".join(f"{word} ({meaning})" for word, meaning in VERDICTS.items()) + ".",
    ),
    text(
        "verdict_side",
        "Side of the limp",
        "Side (left, right) that calibrated amplitude or step time names; n/a where they name none or disagree.",
    ),
    text("verdict_evidence", "Evidence", "The numbers behind the verdict in one sentence."),
    *interval(
        "amplitude_ratio_recorded",
        "Amplitude ratio as recorded",
        "Amplitude of the right knee over that of the left in units of the response, before calibration.",
    ),
    *interval(
        "gain_ratio",
        "Gain ratio",
        "Part of the recorded ratio that the sensors explain: right over left response per degree (bends).",
    ),
    text(
        "gain_ratio_source",
        "Source of the gain ratio",
        "bends (hold calibration of both knees), reference (an angle channel beside a sensor calibrated at least one), "
        "bench (gauge factors only: says nothing of the sleeve), or none.",
    ),
    *interval(
        "amplitude_ratio_calibrated",
        "Amplitude ratio calibrated",
        "Amplitude of the right knee over that of the left in degrees; n/a without a calibration of both knees.",
    ),
)


@dataclass(frozen=True)
class Measured:
    """A number with its 95 % interval; all NaN when it is not known."""

    value: float = math.nan
    low: float = math.nan
    high: float = math.nan

    @property
    def known(self) -> bool:
        """Whether value and both limits are there."""
        return all(math.isfinite(x) for x in (self.value, self.low, self.high))

    def beyond(self, limit: float) -> bool | None:
        """Tell whether the whole interval is outside -limit to limit; None: it crosses a limit, or is unknown."""
        if not self.known:
            return None
        if self.low > limit or self.high < -limit:
            return True
        return False if -limit <= self.low and self.high <= limit else None

    def widened(self, sd: float) -> Measured:
        """Add an error that the interval does not hold, of standard deviation ``sd``, in quadrature."""
        low, high = (math.hypot(self.value - limit, _NORMAL_95 * sd) for limit in (self.low, self.high))
        return Measured(self.value, self.value - low, self.value + high)

    def mapped(self, function: Callable[[float], float]) -> Measured:
        """Apply an increasing function to the value and its limits."""
        return Measured(*(float(function(x)) if math.isfinite(x) else math.nan for x in self.numbers))

    @property
    def numbers(self) -> tuple[float, float, float]:
        """Value, low, high."""
        return self.value, self.low, self.high


_UNKNOWN: Final = Measured()


@dataclass(frozen=True)
class WalkEvidence:
    """Summary numbers of one walk, right against left.

    Parameters
    ----------
    strides : int
        Strides of the knee that has fewer.
    amplitude_recorded, amplitude_calibrated : Measured
        Symmetry index, (right - left) / (0.5 (right + left)) x 100, of the range of motion in response units and in
        degrees. Robinson, Herzog & Nigg 1987.
    gain_ratio : Measured
        Right over left response per degree, or gauge factor, of the sensors.
    gain_ratio_source : {"bends", "reference", "bench", "none"}
        Where the gain ratio comes from.
    step_time : Measured
        Symmetry index of step time, percent; positive when the step onto the right foot takes longer.
    phase : Measured
        Left-right phase minus 180 degrees.
    peak_timing : Measured
        Swing peak of the right knee minus that of the left, percent of the stride.
    shape : Measured
        1 - correlation of the two mean stride waves at the best alignment, at least 0.
    flagged_sensors : tuple of str
        Sensors that left their control limits.
    """

    strides: int
    amplitude_recorded: Measured = _UNKNOWN
    amplitude_calibrated: Measured = _UNKNOWN
    gain_ratio: Measured = _UNKNOWN
    gain_ratio_source: Literal["bends", "reference", "bench", "none"] = "none"
    step_time: Measured = _UNKNOWN
    phase: Measured = _UNKNOWN
    peak_timing: Measured = _UNKNOWN
    shape: Measured = _UNKNOWN
    flagged_sensors: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Verdict:
    """What the numbers allow to say.

    Parameters
    ----------
    verdict : str
        A key of `VERDICTS`.
    side : str or None
        Side of the limp where calibrated amplitude or step time names one.
    evidence : str
        One sentence with the numbers.
    columns : dict
        `VERDICT_COLUMNS` as one row.
    """

    verdict: str
    side: str | None
    evidence: str
    columns: dict[str, str | float | None]


def ratio_of_symmetry_index(percent: float) -> float:
    """Right over left from the symmetry index: (200 + SI) / (200 - SI); infinite at 200.

    Robinson, Herzog & Nigg 1987 define SI = (R - L) / (0.5 (R + L)) x 100, which is solved for R / L here.
    """
    return math.inf if percent >= 200.0 else (200.0 + percent) / (200.0 - percent)


def gain_ratio_of_bends(
    right: tuple[float, float], left: tuple[float, float], coverage_factor: float = 1.96
) -> Measured:
    """Gain ratio from two bend calibrations, with its interval.

    Parameters
    ----------
    right, left : tuple of (slope, standard error)
        Response per degree over the calibrated range. The slopes have one sign.
    coverage_factor : float
        Standard errors to each side; 1.96 for 95 % of a normal distribution.

    Returns
    -------
    Measured
        Right over left. The interval is that of the logarithm (first-order propagation of relative errors,
        JCGM 100:2008, 5.1.6), so it is never negative.
    """
    (b_right, se_right), (b_left, se_left) = right, left
    if not all(map(math.isfinite, (*right, *left))) or b_right * b_left <= 0.0:
        return _UNKNOWN
    spread = coverage_factor * math.hypot(se_right / b_right, se_left / b_left)
    ratio = b_right / b_left
    return Measured(ratio, ratio * math.exp(-spread), ratio * math.exp(spread))


def _timing_findings(
    evidence: WalkEvidence, parameters: VerdictParameters, calibrated: bool
) -> tuple[list[str], list[str], bool]:
    """Split the gain-free asymmetries into found and unsettled, and say whether any was measured."""
    rows = [
        ("step time", evidence.step_time, parameters.step_time_limit_percent, "%"),
        ("phase", evidence.phase, parameters.phase_limit_deg, "degrees from 180"),
        ("timing of the swing peak", evidence.peak_timing, parameters.peak_timing_limit_percent, "% of the stride"),
    ]
    if calibrated:
        rows.append(("wave shape (1 - correlation)", evidence.shape, parameters.shape_limit, ""))
    found, unsettled, measured = [], [], False
    for name, number, limit, unit in rows:
        if not number.known:
            continue
        measured = True
        outside = number.beyond(limit)
        text = f"{name} {number.value:.3g} {unit}".rstrip()
        text += f" ({number.low:.3g} to {number.high:.3g}; limit {limit:g})"
        if outside:
            found.append(text)
        elif outside is None and abs(number.value) > limit:
            unsettled.append(text)
    return found, unsettled, measured


def _side(evidence: WalkEvidence, parameters: VerdictParameters) -> str | None:
    """Name the side: the smaller calibrated movement, the longer step; none where these disagree or are silent."""
    named = set()
    if evidence.amplitude_calibrated.beyond(parameters.amplitude_limit_percent):
        named.add("left" if evidence.amplitude_calibrated.value > 0 else "right")
    if evidence.step_time.beyond(parameters.step_time_limit_percent):
        named.add("right" if evidence.step_time.value > 0 else "left")
    return named.pop() if len(named) == 1 else None


def _ratio_text(index: Measured) -> str:
    return f"{ratio_of_symmetry_index(index.value):.2f}"


def _decide(
    evidence: WalkEvidence, parameters: VerdictParameters, found: list[str], unsettled: list[str], measured: bool
) -> str:
    calibrated = evidence.amplitude_calibrated
    limit = parameters.amplitude_limit_percent
    recorded_differs = evidence.amplitude_recorded.beyond(limit)
    amplitude_differs = calibrated.beyond(limit) if calibrated.known else None
    if evidence.strides < parameters.minimum_strides or not (measured or calibrated.known):
        return CANNOT_TELL if evidence.strides >= parameters.minimum_strides and recorded_differs else "not enough data"
    if found or amplitude_differs:
        gain = evidence.gain_ratio.mapped(lambda g: 200.0 * (g - 1.0) / (g + 1.0))
        by_bends = evidence.gain_ratio_source in ("bends", "reference")
        return "gait and sensor" if by_bends and gain.beyond(limit) else "gait"
    if unsettled:
        return "not certain"
    if calibrated.known:
        if amplitude_differs is None and abs(calibrated.value) > limit:
            return "not certain"
        return "sensor" if recorded_differs else NO_ASYMMETRY
    if not evidence.amplitude_recorded.known:
        return "not enough data"
    return NO_ASYMMETRY if abs(evidence.amplitude_recorded.value) <= limit else CANNOT_TELL


def _sentence(verdict: str, evidence: WalkEvidence, found: list[str], unsettled: list[str], side: str | None) -> str:
    parts = []
    if evidence.strides and verdict == "not enough data":
        parts.append(f"{evidence.strides} strides of both knees, or no measure of the two sides")
    if evidence.amplitude_recorded.known:
        parts.append(f"amplitude right/left {_ratio_text(evidence.amplitude_recorded)} as recorded")
    if evidence.gain_ratio.known:
        words = {
            "bends": "the bend calibration",
            "reference": "the calibration",
            "bench": "the gauge factors on the bench",
        }
        source = words.get(evidence.gain_ratio_source, "the sensors")
        parts.append(f"{source} explains {evidence.gain_ratio.value:.2f}".replace("bench explains", "bench explain"))
    if evidence.amplitude_calibrated.known:
        parts.append(f"{_ratio_text(evidence.amplitude_calibrated)} in degrees")
    if found:
        parts.append("beyond any gain: " + ", ".join(found))
    elif unsettled:
        parts.append("not settled: " + ", ".join(unsettled))
    elif verdict != "not enough data":
        parts.append("no asymmetry of timing found")
    if verdict in ("gait", "gait and sensor"):
        parts.append(f"limp on the {side} side" if side else "no side named")
    if verdict == CANNOT_TELL:
        parts.append(f"sensor or gait {CANNOT_TELL}")
    if evidence.flagged_sensors:
        parts.append(f"sensor {', '.join(evidence.flagged_sensors)} is outside its control limits")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if text else "No measure of the two sides."


def sensor_or_gait(evidence: WalkEvidence, parameters: VerdictParameters | None = None) -> Verdict:
    """Weigh the evidence of one walk.

    Parameters
    ----------
    evidence : WalkEvidence
        Its numbers.
    parameters : VerdictParameters, optional
        Limits.

    Returns
    -------
    Verdict
        Uncalibrated, an amplitude difference with symmetric timing gives ``cannot be told apart without a bend
        calibration``; uncalibrated, a side comes from step time only.
    """
    parameters = parameters or VerdictParameters()
    evidence = replace(
        evidence,
        step_time=evidence.step_time.widened(parameters.step_time_error_percent),
        phase=evidence.phase.widened(parameters.phase_error_deg),
    )
    found, unsettled, measured = _timing_findings(evidence, parameters, evidence.amplitude_calibrated.known)
    verdict = _decide(evidence, parameters, found, unsettled, measured)
    side = _side(evidence, parameters) if verdict in ("gait", "gait and sensor") else None
    text = _sentence(verdict, evidence, found, unsettled, side)
    recorded = evidence.amplitude_recorded.mapped(ratio_of_symmetry_index)
    calibrated = evidence.amplitude_calibrated.mapped(ratio_of_symmetry_index)
    columns: dict[str, str | float | None] = {
        "verdict": verdict,
        "verdict_side": side,
        "verdict_evidence": text,
        "gain_ratio_source": evidence.gain_ratio_source,
    }
    for name, number in {
        "amplitude_ratio_recorded": recorded,
        "gain_ratio": evidence.gain_ratio,
        "amplitude_ratio_calibrated": calibrated,
    }.items():
        columns |= dict(zip((name, f"{name}_low", f"{name}_high"), number.numbers, strict=True))
    return Verdict(verdict, side, text, columns)
