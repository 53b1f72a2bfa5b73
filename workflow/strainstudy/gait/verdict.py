"""Is it the sensor or the gait? A weaker signal on one side may be a limp, or a stiffer sleeve, or a tired sensor.

In: summary numbers of one walk, each with its 95 % interval: the amplitude of the right knee over that of the left
as recorded, what the sensors' own gains explain of it, the same after calibration, and the asymmetries that no
gain can produce (step time, phase, timing of peaks; waveform shape, with care). Out: a verdict, a side or none, and
one sentence of evidence.

One rule for every number that speaks of the gait, so that a reader can apply it to what is printed: within its limit,
no asymmetry is found, whatever smaller or less well measured one there may be; beyond it with the whole interval, one
is found; beyond it with an interval that reaches back, it is not certain.

Amplitude follows from one product: recorded ratio = gain ratio x ratio of the movement. So a difference is the sensor's
where the gain ratio makes up most of what was recorded, what it leaves is within the limit, and the amplitudes in
degrees agree. Where gain times degrees does not give what was recorded (a calibration that slipped, a loop on one side
only, a curve at another angle), amplitude counts if it is beyond its limit both in degrees and as recorded over gain,
and settles nothing else. Without a calibration the first number alone fixes neither factor, so amplitude alone never
makes a limp and never names a side. A gain scales the ordinate and leaves every time alone, so an asymmetry of timing
is one of the gait. A sensor's curve bends the shape of a wave, so an asymmetry of shape alone counts only after
calibration.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from ..tables.spec import interval, text
from ..tables.spec import number as number_column
from .verdict_evidence import (
    Measured,
    WalkEvidence,
    gain_ratio_of_bends,
    ratio_of_symmetry_index,
    symmetry_index_of_ratio,
)
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
    "verdict_words",
]

_CALIBRATED: Final = ("bends", "reference")
_MOSTLY: Final = 0.5
"""Share of the recorded difference (of logarithms) that the gain must make up to be what it is from (ours)."""
_MISFIT_SHARE: Final = 0.5
"""Share of the limit of amplitude from which on what gain and movement leave of the recorded ratio is said (ours)."""
NO_ASYMMETRY: Final = "no asymmetry found"
CANNOT_TELL: Final = "cannot be told apart without a bend calibration"
VERDICTS: Final = {
    NO_ASYMMETRY: "every number within its limit, which says nothing of asymmetries smaller than those in the columns "
    "settled_from; uncalibrated, equal amplitudes prove no equal movement",
    "gait": "an asymmetry, beyond its limit with its whole interval, that no gain of the sensors can have made",
    "sensor": "the amplitudes differ as recorded, the sensors' gains explain it, and they agree once calibrated; "
    "timing is symmetric",
    "gait and sensor": "the gait is asymmetric, and the sensors differ as well",
    CANNOT_TELL: "the amplitudes differ, timing is symmetric, and no calibration says which it is",
    "not certain": "a number is beyond its limit but its interval reaches back, or gain and movement do not give what "
    "was recorded: a better calibration, or a bench for the sensors, may decide",
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
        "The numbers behind the verdict in one sentence. Its intervals are the row's own limits, of the person's usual "
        "value that day.",
    ),
    number_column(
        "step_time_settled_from",
        "Step time settled from",
        "Smallest symmetry index of step time that would have been found in this walk, either way: the limit of the "
        "settings and the longer arm of the interval, which holds the error of the method.",
        "%",
        1,
    ),
    number_column(
        "amplitude_settled_from",
        "Amplitude settled from",
        "The same of amplitude in degrees; n/a without a calibration of both knees, and where its gain and degrees do "
        "not give what was recorded.",
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
        "Part of the recorded ratio that the sensors explain: right over left response to one and the same movement, "
        "the mean of both knees' in these strides, by curve and loop of the calibrations (by the mean slope where one "
        "is from a reference).",
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


def _other_index(evidence: WalkEvidence) -> float:
    """Symmetry index of the movement, percent, as recorded over gain; NaN without a calibration of both knees."""
    if evidence.gain_ratio_source not in _CALIBRATED or not (
        evidence.gain_ratio.known and evidence.amplitude_recorded.known and evidence.amplitude_calibrated.known
    ):
        return math.nan
    return symmetry_index_of_ratio(
        ratio_of_symmetry_index(evidence.amplitude_recorded.value) / evidence.gain_ratio.value
    )


def _fits(evidence: WalkEvidence, parameters: VerdictParameters) -> bool:
    """Tell whether gain ratio x ratio in degrees is the recorded ratio, near enough."""
    other = _other_index(evidence)
    if not math.isfinite(other):
        return True
    left = ratio_of_symmetry_index(other) / ratio_of_symmetry_index(evidence.amplitude_calibrated.value)
    return abs(symmetry_index_of_ratio(left)) <= _MISFIT_SHARE * parameters.amplitude_limit_percent


def _counts(evidence: WalkEvidence, parameters: VerdictParameters) -> bool:
    """Tell whether an amplitude beyond the limit in degrees is one: gain and movement fit, or it is so either way."""
    other = _other_index(evidence)
    same = other * evidence.amplitude_calibrated.value > 0
    return _fits(evidence, parameters) or (same and abs(other) > parameters.amplitude_limit_percent)


def _findings(evidence: WalkEvidence, parameters: VerdictParameters) -> tuple[list[str], list[str], bool]:
    """Split the asymmetries of the gait into found and unsettled, and say whether one of timing was measured."""
    calibrated = evidence.amplitude_calibrated.known
    rows = [
        ("step time", evidence.step_time, parameters.step_time_limit_percent, "%"),
        ("phase", evidence.phase, parameters.phase_limit_deg, "degrees from 180"),
        ("timing of the swing peak", evidence.peak_timing, parameters.peak_timing_limit_percent, "% of the stride"),
    ]
    if calibrated:
        rows.append(("wave shape (1 - correlation)", evidence.shape, parameters.shape_limit, ""))
    measured = any(number.known for _, number, _, _ in rows)
    if _counts(evidence, parameters):
        limit = parameters.amplitude_limit_percent
        rows.append(("amplitude in degrees", evidence.amplitude_calibrated, limit, "%"))
    found, unsettled = [], []
    for name, number, limit, unit in rows:
        if not number.known:
            continue
        outside = number.beyond(limit)
        text = f"{name} {number.value:.3g} {unit}".rstrip()
        text += f" (95 % {number.low:.3g} to {number.high:.3g}; limit {limit:g})"
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
    share = math.log(gain) / math.log(recorded)
    return share >= _MOSTLY and abs(symmetry_index_of_ratio(recorded / gain)) <= parameters.amplitude_limit_percent


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
    amplitude = evidence.amplitude_calibrated
    if amplitude.beyond(parameters.amplitude_limit_percent) and _counts(evidence, parameters):
        sides["knee"] = "left" if amplitude.value > 0 else "right"
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
    if evidence.strides < parameters.minimum_strides or not (measured or calibrated.known):
        return CANNOT_TELL if evidence.strides >= parameters.minimum_strides and recorded_differs else "not enough data"
    if found:
        gain = evidence.gain_ratio.mapped(symmetry_index_of_ratio)
        by_bends = evidence.gain_ratio_source in _CALIBRATED
        return "gait and sensor" if by_bends and gain.beyond(limit) else "gait"
    if unsettled or not _fits(evidence, parameters):
        return "not certain"
    if calibrated.known:
        if not recorded_differs:
            return NO_ASYMMETRY
        return "sensor" if _explained(evidence, parameters) else "not certain"
    if not evidence.amplitude_recorded.known:
        return "not enough data"
    return NO_ASYMMETRY if abs(evidence.amplitude_recorded.value) <= limit else CANNOT_TELL


def _settled_words(step_time: float, amplitude: float) -> str:
    """Name the asymmetries from which on this walk would have shown one; nothing where neither is known."""
    known = [f"{step_time:.0f} % of step time"] if math.isfinite(step_time) else []
    known += [f"{amplitude:.0f} % of the knee's range"] if math.isfinite(amplitude) else []
    return " or ".join(known)


def verdict_words(row: Mapping[str, Any]) -> str:
    """Put the verdict of a row into words that do not promise more than the walk could show.

    Parameters
    ----------
    row : mapping
        Of ``tables/gait.tsv``: ``verdict``, ``step_time_settled_from``, ``amplitude_settled_from``.

    Returns
    -------
    str
        The verdict; where none was found, from which asymmetry on one would have been.
    """
    if row["verdict"] != NO_ASYMMETRY:
        return str(row["verdict"])
    smallest = _settled_words(*(float(row[f"{name}_settled_from"]) for name in ("step_time", "amplitude")))
    return f"none found; detectable from {smallest} on" if smallest else NO_ASYMMETRY


def _sentence(
    verdict: str,
    evidence: WalkEvidence,
    found: list[str],
    unsettled: list[str],
    sides: Mapping[str, str],
    smallest: tuple[float, float],
    fits: bool,
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
    if not fits:
        together = evidence.gain_ratio.value * ratio_of_symmetry_index(evidence.amplitude_calibrated.value)
        parts.append(
            f"their product is {together:.2f}, not what was recorded: amplitude counts only where it is beyond its "
            "limit in degrees and as recorded over explained"
        )
    if found:
        parts.append("beyond the limit with the whole interval: " + ", ".join(found))
    elif unsettled:
        parts.append("beyond the limit, but the interval reaches back: " + ", ".join(unsettled))
    elif verdict != "not enough data":
        parts.append("no asymmetry of timing found")
    if verdict in ("gait", "gait and sensor"):
        parts.append(_asymmetry_text(sides, limping=evidence.limping))
    if verdict in ("sensor", "gait and sensor") and (weaker := _weaker(evidence)):
        parts.append(f"the {weaker} sensor answers less per degree")
    if verdict == "not certain" and not unsettled and fits and evidence.gain_ratio.known:
        parts.append("the gains do not explain what was recorded")
    if verdict in ("not certain", "sensor", NO_ASYMMETRY) and (shown := _settled_words(*smallest)):
        parts.append(f"asymmetries from {shown} on would have been found")
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
    found, unsettled, measured = _findings(evidence, parameters)
    verdict = _decide(evidence, parameters, found, unsettled, measured)
    sides = _sides(evidence, parameters) if verdict in ("gait", "gait and sensor") else {}
    fits = _fits(evidence, parameters)
    smallest = (
        evidence.step_time.settled_from(parameters.step_time_limit_percent),
        evidence.amplitude_calibrated.settled_from(parameters.amplitude_limit_percent) if fits else math.nan,
    )
    text = _sentence(verdict, evidence, found, unsettled, sides, smallest, fits)
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
