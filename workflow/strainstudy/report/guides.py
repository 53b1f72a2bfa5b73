"""How to read each kind of figure: what is shown, what good and bad look like, what to do about a bad one.

They stand folded under every figure of that kind, here and on the pages of people, apart from captions and from what
draws. A figure without an entry is refused by `guide_of`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

__all__ = ["GUIDES", "Guide", "guide_of"]


@dataclass(frozen=True)
class Guide:
    """Three sentences or so: ``shown``, ``judged`` (what good and bad look like), ``mended`` (what to do)."""

    shown: str
    judged: str
    mended: str


GUIDES: Final[Mapping[str, Guide]] = {
    "gait": Guide(
        "One row for each group, gait state and session, one panel for each measure. A dot is a person's walk; with "
        "many people a dark band holds the middle half of them and a light one nine in ten. The stroke is the median.",
        "Good: sessions of one group lie over each other, and asymmetries of normal gait lie about zero. Bad: a person "
        "far from the others of the row (named, diamond), or a whole session shifted.",
        "Open the named person's walk: are its contacts in place, was a sensor swapped or unplugged? A whole session "
        "that is shifted asks for sensors, sleeves and settings of that day.",
    ),
    "knee_curves": Guide(
        "The mean knee angle over the stride, from one contact of a leg to its next, of each group and gait state; the "
        "band is one standard deviation of the strides, the thin curve a published one.",
        "Good: a small flexion early in stance, a large one in swing, both sides alike in normal gait. Bad: a curve "
        "that lies far off the published one over the whole stride (a wrong zero), or is flat.",
        "Open the person's page: a curve that is shifted or scaled asks for the bends of that session, a flat one for "
        "the sleeve; a difference in swing alone may be the gait.",
    ),
    "swallows": Guide(
        "One row for each kind of recording and session; dots, bands and strokes as in the figure of gait. Water tests "
        "with a set volume stand apart, because their rate is that of a task.",
        "Good: durations between half a second and two seconds, no recording without any swallow. Bad: a person far "
        "from the others (named), or rates near zero under one kind of sensor.",
        "Look at the recording: speech taken for swallows makes rates high, a loose sensor or a gain at its limit "
        "makes them low. Label a few minutes of it and run again.",
    ),
    "norms": Guide(
        "Above the line this study, below it the published range of each source with its mean as a stroke; an arrow is "
        "a limit with one end only.",
        "Good: normal gait of healthy people lies within most sources' ranges. Bad: the whole study lies outside all "
        "of them, or the sources do not agree among themselves: then none is a yardstick.",
        "If all people are shifted the same way, suspect the measure (landmarks, walkway, speed) before the people; "
        "compare walkway and population of the source in the table.",
    ),
    "change": Guide(
        "Later minus earlier session of each person, divided by what error alone produces in 95 of 100 cases; within "
        "the grey band nothing can be told. With many people bands stand for them; those beyond are diamonds, the "
        "farthest named.",
        "Good: people without treatment lie within the band. Bad: one person beyond it in many measures at once, or "
        "most people shifted to the same side.",
        "Check the named person's two recordings and sensors first; a change that all share is of the day, the sensor "
        "or the task. What the error was taken from stands in the table.",
    ),
    "knee_calibration": Guide(
        "Left: each labelled hold as the calibrated sensor reads it. Right: how much the sensor answers to one degree, "
        "for each knee and session.",
        "Good: holds on the dotted line. Bad: a hold more than 10 degrees off, or a gain a fifth of the others' "
        "(named).",
        "Repeat the bends of that session or correct the label of the hold; a small gain is a loose sleeve or a sensor "
        "wired the wrong way round.",
    ),
    "sensor_health": Guide(
        "Each session of each sensor as percent from the middle of its sessions (of two, from the first); grey are the "
        "limits that its usual changes from use to use stay within.",
        "Good: all within grey. Bad: a diamond (named), or a run of points that drifts one way.",
        "A jump of resistance in one session is wiring or a contact: check it before anything measured with it is "
        "used. A drift is wear: replace the sensor.",
    ),
    "sensor": Guide(
        "Loop of response against strain, gauge factor by part of the range, answer to one step, and both over cycles.",
        "Good: a narrow loop, one gauge factor, an answer within a tenth of a second, flat lines over cycles. Bad: "
        "a loop wider than a tenth of full scale, a low end that keeps moving, an answer that creeps for seconds.",
        "Wide loops and slow answers make knee angles late and shallow: prefer another sensor, or stretch this one for "
        "longer before use.",
    ),
    "classifier": Guide(
        "How labelled time was called by a model that never saw the person; whether its probabilities come true; and "
        "the score of people left out, beside rules that need no training.",
        "Good: dark diagonal, points on the dotted line, the classifier right of the simple rules for nearly "
        "everybody. Bad: people far to the left (named), or a simple rule that does as well.",
        "Look at the worst mistakes listed below and correct labels there; people unlike all others need labels of "
        "their own kind: see what to label next.",
    ),
    "classifier_evidence": Guide(
        "Whether the score could be chance, whether more people would help, which features carry it.",
        "Good: the diamond far right of the grey bar; a learning curve that has levelled. Bad: a diamond within grey; "
        "a curve that still rises; one single feature that carries everything.",
        "Within grey: do not use the classifier. Rising: label more people. One feature: check that it does not stand "
        "for the sensor or the day.",
    ),
    "agreement_events": Guide(
        "Left: how many labelled events were found and how few made up (F1: 1 is all and none). Right: how early or "
        "late.",
        "Good: F1 above 0.9 at the tolerance your measure needs, timing about zero. Bad: rows far left; a timing "
        "shifted by more than 50 ms.",
        "A low F1 at narrow tolerance with a high one at a wide one is timing: measures of means survive, those of "
        "single steps do not. Low at every tolerance: look at those recordings.",
    ),
    "agreement_parameters": Guide(
        "Each reported measure minus what the labels give: mean difference with its interval, and in grey where 95 of "
        "100 single values are expected.",
        "Good: a point at zero and a short grey bar. Bad: a bar wider than the difference you want to see, or a point "
        "whose interval leaves zero.",
        "Report group means where only the bar is wide; do not interpret single people's values that differ by less "
        "than the bar.",
    ),
    "agreement_swallows": Guide(
        "Swallows found by kind of sensor answer, what was taken for one, and what each movement was called.",
        "Good: F1 above 0.9 for every shape, no false swallows in speech. Bad: one shape far below the others.",
        "Label three people at least under the sensor that does worse, or wear the kind that does better.",
    ),
    "raters": Guide(
        "A second rater and the pipeline, both against the reference rater, on the same recordings.",
        "Good: the pipeline no farther left than the rater. Bad: the raters do not agree among themselves: then no "
        "score against one of them means much.",
        "Agree on the definition of the event and label again what the raters see differently; the review pages list "
        "it.",
    ),
    "recording": Guide(
        "Each sensor over time, both knees of a walk on one axis in degrees; strokes below are detected contacts, "
        "above labelled ones; then states and events as detected and as labelled.",
        "Good: regular waves, a stroke at every wave, detected and labelled rows alike. Bad: flat stretches, clipped "
        "tops, gaps, or a knee that reads upside down.",
        "Flat or clipped: lower the gain, mend the lead. Upside down: give the channel's row of channels.tsv its own "
        "polarity; if the sensor is always so, sensors.tsv. Wrong events: correct them on the review page.",
    ),
}


def guide_of(figure: str) -> Guide:
    """Give the guide of a figure by its file name; sensors and recordings share one each.

    Raises
    ------
    KeyError
        For a figure without an entry.
    """
    if figure in GUIDES:
        return GUIDES[figure]
    kind = figure.replace("-", "_").split("_", 1)[0]
    if kind not in ("sensor", "recording"):
        raise KeyError(f"the figure {figure} has no guide: add one to GUIDES of report/guides.py")
    return GUIDES[kind]
