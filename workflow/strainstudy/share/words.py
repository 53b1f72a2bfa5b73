"""What the shared folder says of itself: data dictionaries, the notes for readers, and the validator's warnings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

__all__ = [
    "BENCH_README",
    "CHANNEL_WORDS",
    "DERIVED_README",
    "EVENT_WORDS",
    "LABELS_README",
    "PARTICIPANT_WORDS",
    "README",
    "RECORDING_WORDS",
    "SESSION_WORDS",
    "TASK_WORDS",
    "WARNINGS",
    "described",
    "events_words",
]

Words = Mapping[str, Mapping[str, Any]]

_SIDES: Final = {"left": "left side", "right": "right side"}
PARTICIPANT_WORDS: Final[Words] = {
    "age": {
        "Description": "Age of the participant; 89 stands for 89 or more.",
        "Units": "year",
    },
    "sex": {
        "Description": "Sex of the participant.",
        "Levels": {"male": "male", "female": "female", "other": "other"},
    },
    "affected_side": {
        "Description": "Side that is affected.",
        "Levels": {**_SIDES, "both": "both sides", "none": "neither side"},
    },
    "group": {"Description": "Group of the participant, in the laboratory's own words."},
}
SESSION_WORDS: Final[Words] = {"session_id": {"Description": "Session; its date was left out."}}
RECORDING_WORDS: Final[Words] = {
    "recording_id": {"Description": "Id of the recording in the laboratory."},
    "sampling_frequency": {"Description": "Sampling frequency as the laboratory stated it.", "Units": "Hz"},
    "volume_ml": {"Description": "Volume of water of a timed swallow.", "Units": "mL"},
    "walkway": {
        "Description": "What was walked on.",
        "Levels": {"overground": "over ground", "treadmill": "on a treadmill"},
    },
    "reference_use": {
        "Description": "What a reference angle is for: to calibrate, to validate, or the spans for the former."
    },
    "sensor_id": {"Description": "Sensor of all channels that name none of their own."},
    "session_id": {"Description": "Session; its date was left out."},
    "task": {"Description": "Task of the recording."},
}
CHANNEL_WORDS: Final[Words] = {
    "sensor_id": {"Description": "Strain sensor of the channel; its bridge stands in motion.json under StrainSensors."},
}
EVENT_WORDS: Final[Words] = {
    "onset": {"Description": "Start, from the first stored sample.", "Units": "s"},
    "duration": {"Description": "Length; 0 for an instant.", "Units": "s"},
    "trial_type": {"Description": "Kind of event, or state of the person."},
    "side": {"Description": "Side of the body; of limping gait the limping side.", "Levels": _SIDES},
    "value": {"Description": "Angle of a knee bend, 0 for the straight leg.", "Units": "deg"},
    "score": {
        "Description": "How sure the detector or classifier is, from 0 to 1; of events as the table of events says."
    },
}
TASK_WORDS: Final = {
    "walk": "Walking.",
    "bend": "Knee bends, held at known angles.",
    "swallow": "Swallowing, with a sensor on the throat.",
    "free": "Several of walking, bending and swallowing, in any order.",
    "stretch": "A sensor stretched on the bench, in cycles or from one hold to another.",
    "tap": "A sensor tapped on the bench.",
}
WARNINGS: Final = {
    "JSON_KEY_RECOMMENDED": "No HED tags are used, the data have no other data set as their source, and the licence "
    "is that of the setting share.license.",
    "NO_AUTHORS": "Authors are named where the setting share.authors names them.",
    "TOO_FEW_AUTHORS": "As NO_AUTHORS.",
    "EVENTS_TSV_MISSING": "Events are judgements of raters or of the pipeline; each has a data set in derivatives/.",
    "SIDECAR_KEY_RECOMMENDED": "Makers, serial numbers, institution, instructions and artefacts are not "
    "in the sheets of a study.",
}
"""Warnings of the standard's validator that the folder gives, and why they stay."""


def described(words: Words, columns: list[str]) -> dict[str, Any]:
    """Make a data dictionary: of a column of the laboratory's own only that it is one."""
    own = "Column of the laboratory's own, as it named and filled it."
    return {name: dict(words.get(name, {"Description": own})) for name in columns}


def events_words(what: str, columns: Sequence[str]) -> dict[str, Any]:
    """Make the data dictionary of ``events.tsv`` in a derivative, which also says what they are."""
    return {"Description": what, **described(EVENT_WORDS, list(columns))}


README: Final = """\
# {name}

Recordings of soft strain sensors on people, written by strainstudy {version} in the form of BIDS (Motion).

- `*_motion.tsv`: the samples as they were recorded. Channels in V or mV (type MISC) are outputs of a bridge;
  `motion.json` has its resistors, supply and gain under `StrainSensors`:
  V_out = amplifier_gain * polarity * excitation_v * (Rx / (r3_ohm + Rx) - r2_ohm / (r1_ohm + r2_ohm)), Rx the sensor;
  without `r2_ohm` the bridge was trimmed to zero output at rest. Joint angles (type JNTANG) are in degrees, 0 for the
  straight leg. Where there is a LATENCY channel it has the time of each sample, in seconds from the first one.
- Throat sensors are MISC channels with the tracked point `throat`: the standard has no type of its own for them.
- `derivatives/labels-*`: the hand labels of one rater each. `derivatives/strainstudy`: what the pipeline detected, its
  result tables and its agreement with the labels, each table with its Table Schema.
- `sourcedata/bench`: sensors on the bench. The raw data of BIDS belong to a participant each, and the bench has none.

Dates were left out: times count from the start of each recording. Ids of participants, sessions and raters that were
more than a number became numbers, sessions in their order. Of words that a person typed there are only the columns that
the laboratory allowed by name: {columns}.
{left_out}
## Warnings of the validator, and why they stay

{warnings}
"""
BENCH_README: Final = """\
# Recordings of the bench

Each sensor in a stretching or tapping stage, in the form of Motion-BIDS without participant and session:
`recordings.tsv` lists the files, as `scans.tsv` does for people. They lie here because raw data in BIDS belong to a
participant.
"""
LABELS_README: Final = """\
# Hand labels of one rater

Events and states as one person saw them, in the columns of BIDS `events.tsv`, with the side of the body and, for knee
bends, the angle. Times are in seconds from the first stored sample of the recording of the same name.
"""
DERIVED_README: Final = """\
# What the pipeline made of the recordings

`*_events.tsv` holds the events that were detected and the states that the classifier gave. `tables/` and
`validation/` hold result tables, each with its Table Schema (Frictionless) beside it; columns of the laboratory's own
words that may not leave it were taken out, and ids are those of this data set. The folders are named in `.bidsignore`
because the standard has no place for tables over all participants in a derivative.
"""
