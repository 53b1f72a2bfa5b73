"""The words that study folders and result tables share (BIDS spellings where BIDS has the word)."""

from __future__ import annotations

from typing import Final, NamedTuple

SIDES: Final = ("left", "right")
KNEES: Final = {"left": "left_knee", "right": "right_knee"}
SIDE_OF_POINT: Final = {point: side for side, point in KNEES.items()}

BODY_TASKS: Final = ("walk", "bend", "swallow", "free")
BENCH_TASKS: Final = ("stretch", "tap")
TASKS: Final = BODY_TASKS + BENCH_TASKS

BODY_POINTS: Final = ("left_knee", "right_knee", "throat")
BENCH_POINTS: Final = ("sensor", "reference_strain", "reference_displacement")
TRACKED_POINTS: Final = BODY_POINTS + BENCH_POINTS

VOLT_UNITS: Final = ("V", "mV")
STRAIN_SENSOR_UNITS: Final = (*VOLT_UNITS, "ohm")
"""Units that only a strain sensor has: its response is a relative change of resistance. Degrees have no lag, and
arbitrary units may be anything."""
RESPONSE_UNITS: Final = (*STRAIN_SENSOR_UNITS, "a.u.")
REFERENCE_SUFFIX: Final = ":reference"
"""Behind the tracked point of a channel in degrees that stands beside a sensor."""
REFERENCE_UNITS: Final = {"reference_strain": "percent", "reference_displacement": "mm"}
UNITS: Final = (*RESPONSE_UNITS, "deg", "percent", "mm")


class EventType(NamedTuple):
    """What is to be known of a kind of event: its plural in words, whether it is an instant, whether it has a side."""

    plural: str
    instant: bool
    sided: bool


EVENT_TYPES: Final = {
    "initial_contact": EventType("initial contacts", instant=True, sided=True),
    "toe_off": EventType("toe-offs", instant=True, sided=True),
    "swallow": EventType("swallows", instant=False, sided=False),
    "knee_bend": EventType("knee bends", instant=False, sided=True),
}
"""Events that are detected and labelled; labels, scores, words and drawings go by this table alone."""
INSTANTS: Final = tuple(name for name, kind in EVENT_TYPES.items() if kind.instant)
STATES: Final = ("rest", "normal_gait", "limping_gait", "turn")
GAIT_STATES: Final = ("normal_gait", "limping_gait")
CONFOUNDERS: Final = ("speech", "cough", "head_movement")
INTERVALS: Final = (*(name for name in EVENT_TYPES if name not in INSTANTS), *STATES, *CONFOUNDERS, "artefact")
LABELLED: Final = "labelled"
TRIAL_TYPES: Final = (*INSTANTS, *INTERVALS, LABELLED)

WALKWAYS: Final = ("overground", "treadmill")
AFFECTED_SIDES: Final = ("left", "right", "both", "none")
SEXES: Final = {
    "male": "male", "m": "male", "M": "male", "MALE": "male", "Male": "male",
    "female": "female", "f": "female", "F": "female", "FEMALE": "female", "Female": "female",
    "other": "other", "o": "other", "O": "other", "OTHER": "other", "Other": "other",
}  # fmt: skip
CHANNEL_STATUS: Final = ("good", "bad")
MISSING: Final = "n/a"
UNOBSERVED_S: Final = 0.5
"""Time without a value, in seconds, from which on what happened is not known: about half a stride (ours)."""
