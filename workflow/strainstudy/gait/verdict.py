"""Is it the sensor or the gait? A weaker signal on one side may be a limp, or a stiffer sleeve, or a tired sensor.

In: summary numbers of one walk, each with its 95 % interval: the amplitude of the right knee over that of the left
as recorded, what the sensors' own gains explain of it, the same after calibration, and the asymmetries that no
gain can produce (step time, phase, timing of peaks; waveform shape, with care). Out: a verdict, a side or none, and
one sentence of evidence.

The rule follows from one product: recorded ratio = gain ratio x ratio of the movement. So a difference is the sensor's
where the gain ratio makes up most of what was recorded, what it leaves is within the limit, and the amplitudes in
degrees agree; a calibration that makes them equal by anything else (a curve, a loop, a sleeve that slipped) settles
nothing. Without a calibration the first number alone fixes neither factor, so amplitude alone never makes a limp and
never names a side. A gain scales the ordinate and leaves every time alone, so an asymmetry of timing is one of the
gait. A sensor's curve bends the shape of a wave, so an asymmetry of shape alone counts only after calibration.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from ..tables.spec import interval, text
from ..tables.spec import number as number_column
from .verdict_evidence import Measured, WalkEvidence, gain_ratio_of_bends, ratio_of_symmetry_index
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

_MOSTLY: Final = 0.5
"""Share of the recorded difference (of logarithms) that the gain must make up to be what it is from (ours)."""
NO_ASYMMETRY: Final = "no asymmetry found"
CANNOT_TELL: Final = "cannot be told apart without a bend calibration"
VERDICTS: Final = {
    NO_ASYMMETRY: "nothing beyond the limits; uncalibrated, equal amplitudes prove no equal movement",
    "gait": "an asymmetry that no gain of the sensors can have made",
    "sensor": "the amplitudes differ as recorded, the sensors' gains explain it, and they agree once calibrated; "
    "timing is symmetric",
    "gait and sensor": "the gait is asymmetric, and the sensors differ as well",
    CANNOT_TELL: "the amplitudes differ, timing is symmetric, and no calibration says which it is",
    "not certain": "an interval crosses its limit, or the gains do not explain what was recorded: more strides, or a "
    "better calibration, would decide",
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
        "Side",
        "Of an asymmetric gait, limping or not: side (left, right) that calibrated amplitude or step time names; n/a "
        "where they name none or disagree. Of the verdict sensor: side whose sensor answers less per degree.",
    ),
    text(
        "verdict_evidence",
        "Evidence",
        "The numbers behind the verdict in one sentence. Its intervals are over these strides, taken as independent, "
        "and hold the error of step times and phases that the settings of the verdict name; the row's own limits are "
        "those of the person's usual value, and differ.",
    ),
    number_column(
        "step_time_settled_from",
        "Step time settled from",
        "Smallest symmetry index of step time that this walk could have settled: its limit and half its interval, "
        "which holds the error of the method.",
        "%",
        1,
    ),
    number_column(
        "amplitude_settled_from",
        "Amplitude settled from",
        "The same of amplitude in degrees; n/a without a calibration of both knees.",
        "%",
        1,
    ),
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
class Verdict:
    """What the numbers allow to say.

    Parameters
    ----------
    verdict : str
        A key of `VERDICTS`.
    side : str or None
        Side of the asymmetry where calibrated amplitude or step time names one; of ``sensor``, that which answers less.
    evidence : str
        One sentence with the numbers.
    columns : dict
        `VERDICT_COLUMNS` as one row.
    """

    verdict: str
    side: str | None
    evidence: str
    columns: dict[str, str | float | None]


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


def _explained(evidence: WalkEvidence, parameters: VerdictParameters) -> bool:
    """Tell whether the gain ratio makes up most of the recorded ratio, and what it leaves is within the limit."""
    gain, recorded = evidence.gain_ratio.value, ratio_of_symmetry_index(evidence.amplitude_recorded.value)
    if not (evidence.gain_ratio.known and gain > 0.0 and 0.0 < recorded < math.inf) or recorded == 1.0:
        return False
    rest = recorded / gain
    share = math.log(gain) / math.log(recorded)
    left = 200.0 * (rest - 1.0) / (rest + 1.0)
    return share >= _MOSTLY and abs(left) <= parameters.amplitude_limit_percent


def _weaker(evidence: WalkEvidence) -> str | None:
    """Name the side whose sensor answers less per degree."""
    if not evidence.gain_ratio.known or evidence.gain_ratio.value == 1.0:
        return None
    return "right" if evidence.gain_ratio.value < 1.0 else "left"


def _sides(evidence: WalkEvidence, parameters: VerdictParameters) -> dict[str, str]:
    """Give the side that moves less in degrees, and that whose step takes longer, each where it is settled."""
    sides = {}
    if evidence.step_time.beyond(parameters.step_time_limit_percent):
        sides["step"] = "right" if evidence.step_time.value > 0 else "left"
    if evidence.amplitude_calibrated.beyond(parameters.amplitude_limit_percent):
        sides["knee"] = "left" if evidence.amplitude_calibrated.value > 0 else "right"
    return sides


def _side(sides: Mapping[str, str]) -> str | None:
    """Name the side that all of `_sides` agree on; none where they disagree or are silent."""
    return next(iter(sides.values())) if len(set(sides.values())) == 1 else None


def _asymmetry_text(sides: Mapping[str, str], *, limping: bool) -> str:
    """Say on which side the gait is asymmetric; only a state that is a limp is called one."""
    side = _side(sides)
    if side is None:
        return "no side named"
    if limping:
        return f"limp on the {side} side"
    words = {"step": "in time, longer on the", "knee": "in range, smaller on the"}
    return "asymmetric " + " and ".join(f"{words[name]} {side}" for name in sides)


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
        if not recorded_differs:
            return NO_ASYMMETRY
        return "sensor" if _explained(evidence, parameters) else "not certain"
    if not evidence.amplitude_recorded.known:
        return "not enough data"
    return NO_ASYMMETRY if abs(evidence.amplitude_recorded.value) <= limit else CANNOT_TELL


def _unsettled_below(step_time: float, amplitude: float) -> str:
    """Say from which asymmetry on this walk could have settled one."""
    known = [f"step time {step_time:.0f} %"] if math.isfinite(step_time) else []
    known += [f"amplitude {amplitude:.0f} %"] if math.isfinite(amplitude) else []
    return f"an asymmetry is settled from {' or '.join(known)} on" if known else ""


def _sentence(
    verdict: str,
    evidence: WalkEvidence,
    found: list[str],
    unsettled: list[str],
    sides: Mapping[str, str],
    smallest: tuple[float, float],
    settled: bool,
) -> str:
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
        parts.append(f"{source} would make it {evidence.gain_ratio.value:.2f}")
    if evidence.amplitude_calibrated.known:
        parts.append(f"{_ratio_text(evidence.amplitude_calibrated)} in degrees")
    if found:
        parts.append("beyond any gain over these strides: " + ", ".join(found))
    elif unsettled:
        parts.append("not settled by these strides: " + ", ".join(unsettled))
    elif verdict != "not enough data":
        parts.append("no asymmetry of timing found")
    if verdict in ("gait", "gait and sensor"):
        parts.append(_asymmetry_text(sides, limping=evidence.limping))
    if verdict in ("sensor", "gait and sensor") and (weaker := _weaker(evidence)):
        parts.append(f"the {weaker} sensor answers less per degree")
    if verdict == "not certain" and not unsettled and evidence.gain_ratio.known:
        parts.append("the gains do not explain what was recorded" if settled else "amplitude is not settled")
    if verdict in ("not certain", "sensor", NO_ASYMMETRY):
        parts.append(_unsettled_below(*smallest))
    if verdict == CANNOT_TELL:
        parts.append(f"sensor or gait {CANNOT_TELL}")
    if evidence.flagged_sensors:
        parts.append(f"sensor {', '.join(evidence.flagged_sensors)} is outside its control limits")
    text = "; ".join(part for part in parts if part)
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
    sides = _sides(evidence, parameters) if verdict in ("gait", "gait and sensor") else {}
    smallest = (
        evidence.step_time.settled_from(parameters.step_time_limit_percent),
        evidence.amplitude_calibrated.settled_from(parameters.amplitude_limit_percent),
    )
    limit = parameters.amplitude_limit_percent
    settled = evidence.amplitude_calibrated.known and abs(evidence.amplitude_calibrated.value) <= limit
    text = _sentence(verdict, evidence, found, unsettled, sides, smallest, settled)
    side = _weaker(evidence) if verdict == "sensor" else _side(sides)
    recorded = evidence.amplitude_recorded.mapped(ratio_of_symmetry_index)
    calibrated = evidence.amplitude_calibrated.mapped(ratio_of_symmetry_index)
    columns: dict[str, str | float | None] = {
        "verdict": verdict,
        "verdict_side": side,
        "verdict_evidence": text,
        "gain_ratio_source": evidence.gain_ratio_source,
        "step_time_settled_from": smallest[0],
        "amplitude_settled_from": smallest[1],
    }
    for name, number in {
        "amplitude_ratio_recorded": recorded,
        "gain_ratio": evidence.gain_ratio,
        "amplitude_ratio_calibrated": calibrated,
    }.items():
        columns |= dict(zip((name, f"{name}_low", f"{name}_high"), number.numbers, strict=True))
    return Verdict(verdict, side, text, columns)
