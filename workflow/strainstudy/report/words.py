"""What every report says whatever the study: cautions with what they rest on, and how to read the sections."""

from __future__ import annotations

from typing import Final

from ..cautions import CAUTIONS, KNOWN_COVERAGE, Caution

__all__ = ["CAUTIONS", "READING", "Caution"]

READING: Final = {
    "faults": "Everything that the tables of results tell of, worst first, with what to do. Faults of one cause are "
    "one line.",
    "bench": "Figures of merit of each sensor from its own bench recordings. Full scale is the range of its largest "
    "settled cycles. Intervals are 95 % over cycles, steps or taps. The delay between the sensor's record and the "
    "bench's is removed before hysteresis is read, so that an offset of two clocks is not sold as hysteresis.",
    "calibration": "A sleeve and its sensor turn flexion into resistance with a gain that differs from knee to knee "
    "and from one donning to the next. Holds at known angles, or a reference beside the sensor in part of the time, "
    "give each sensor and session its own map to degrees. How often the interval of an angle held, by sensor: "
    f"{KNOWN_COVERAGE}.",
    "recordings": "Each recording is drawn as the pipeline saw it, in a file of its own, and has a page on which to "
    "look closer and to correct its labels; those that ask to be looked at are drawn here. Degrees where calibrated, "
    "both knees on one axis, else the relative resistance change. Strokes at the foot of a knee's panel are detected "
    "initial contacts, strokes at its head the reference rater's. Rows below: what was detected, then what each rater "
    "labelled: rest grey, normal gait light blue, limping gait orange, turns pink, swallows green, knee bends brown, "
    "speech yellow, coughs violet, head movements lavender, artefacts dark grey. Hover over a span for its name and "
    "times.",
    "gait": "Measures of steady strides only: starts, stops and turns are left out. Below 20 strides a row carries a "
    "warning. Intervals are of the person's usual value of that day: a few strides are a sample of it, and each "
    "landmark has an error of its own; how well these very strides were measured stands in the columns _error of "
    "tables/gait.tsv. The column 'sensor or gait' says whether a difference between the sides can be the sensors' own: "
    "a value within its limit is no asymmetry found; beyond it with the whole interval it is found; beyond it with an "
    "interval that reaches back it is not certain, as is an amplitude as recorded that gain and degrees do not give.",
    "swallows": "Swallows found in the throat signal among speech, coughs and head movements. Where swallows of a "
    "drunk volume seem to have been missed, water per swallow and drinking speed would be bounds: they are n/a, here "
    "and in every mean, comparison and published range.",
    "classifier": "Every number here is of people left out of everything that was fitted: scaling, selection, "
    "calibration of probabilities, smoothing. Three simple rules stand beside the classifier; one that does no "
    "better than they is not needed.",
    "classifier_untested": "No classifier was tested here: that needs labels of normal and of limping gait, of two "
    "people or more, so that each can be left out in turn. How each walk was decided stands in the table of people.",
    "agreement": "Detected events, states and the parameters that come from them against hand labels, and against a "
    "second rater where there is one.",
    "believed": "Off by: between these limits 95 of 100 recordings differ from their labels. Believe it: yes where the "
    "lower 95 % limit of ICC(2,1) reaches 0.75, with care from 0.5 on (Koo & Li 2016), no below, not shown where the "
    "limits reach from below 0.5 to 0.75 or there are none; an amount of which the labels are too coarse cannot be "
    "validated with them; events and states from an F1 of 0.9 on (ours). ICC is low where people hardly differ, "
    "even if errors are small: compare 'off by' with the difference that you want to see.",
    "agreement_swallows": "Swallows against hand labels. Sensors differ in what they make of a swallow: one hump, two "
    "phases (out and back past rest), or ringing. Where one shape lies far below the others, swallows under such "
    "sensors are missed or made up more often; each shape rests on other recordings and in part on other people, so "
    "that sensor and person are not wholly told apart. Where no swallow was found there is no shape.",
    "agreement_taken": "One line for each thing that the rater labelled in the throat signal: how many stretches of it "
    "hold a false swallow, and false swallows per minute of it. Few minutes give wide limits, even with none counted. "
    "The last lines count false swallows where nothing of these was labelled, and all of them in all time without "
    "swallows. Limits are the wider of those of a count by chance (exact Poisson) and those from resampling people.",
    "agreement_throat": "One line for each class and each way of calling it. Classifier: by a model that never saw the "
    "person. Without labels: the rule that stands in where a study has none; it says swallow or not swallow. Majority: "
    "the commonest class, always. A classifier that does no better than the other two is not needed. Other: what the "
    "rater labelled as none of these. The lines of all classes give the mean recall. A stretch of speech or of head "
    "movement can be several movements. Only movements that stood out from rest are here: a labelled swallow that "
    "never did is missing from this table, and counted as missed among the swallows by response shape.",
    "norms": "Published values for orientation. They differ between good sources; being outside a range is not an "
    "illness and being inside one is not health.",
    "norms_at_odds": "Sources contradict each other where their ranges have no value in common, or where the mean of "
    "one lies outside the range of the other. A source that does not place people is one of patients (but "
    "for cut-offs, which place everybody), or one from memory where a source was read.",
    "change": "Later minus earlier session. Where recordings were repeated, beside the error of such a change; else "
    "beside how the sessions of other people differ, which is no error of measurement: a change beyond that is unusual "
    "among these people. Measures made of the same thing are counted once. The minimal detectable change of a "
    "reliability study (validation/retest.tsv, paper) is another: how much the sessions of all these people differ. It "
    "may be several times smaller, because one person is judged by the larger of such a limit, of the other people, "
    "and of the limits of the two values, which count the error of finding the feet anew in each session.",
}
