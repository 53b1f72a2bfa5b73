"""The columns of the four sheets of a study folder and what their cells may be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from ..io.sheets import Check, Rule, matches, number, one_of
from ..reference_use import REFERENCE_USE_REMEDY, understood
from ..vocabulary import AFFECTED_SIDES, CHANNEL_STATUS, SEXES, TASKS, TRACKED_POINTS, UNITS, WALKWAYS

__all__ = [
    "CHANNELS",
    "EVERY_RECORDING",
    "IDENTIFIER",
    "PARTICIPANTS",
    "RECORDINGS",
    "SENSORS",
    "SHEETS",
    "SheetKind",
]

EVERY_RECORDING: Final = "*"
IDENTIFIER: Final = r"[A-Za-z0-9_-]+"


@dataclass(frozen=True)
class SheetKind:
    """One sheet: its file name, its columns, and whether a lab may add columns of its own."""

    file: str
    rules: tuple[Rule, ...]
    extra_allowed: bool

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the columns that must be there."""
        return tuple(rule.name for rule in self.rules if rule.required)

    @property
    def known(self) -> tuple[str, ...]:
        """Names of all columns with a rule."""
        return tuple(rule.name for rule in self.rules)


_ID = (matches(IDENTIFIER, "not a valid id", "use letters, digits, '-' and '_' only"),)
_POSITIVE = "a number above 0"
_NOT_ZERO = "a number other than 0"

# BIDS: participant_id matches ^sub-[0-9a-zA-Z]+$; session labels likewise; age is a number of years; sex has
# a fixed list of spellings (bids-specification, src/schema/objects/columns.yaml).
PARTICIPANTS: Final = SheetKind(
    "participants.tsv",
    (
        Rule(
            "participant_id",
            (matches("sub-[0-9a-zA-Z]+", "not a participant id", "write sub-, then letters and digits"),),
            required=True,
            filled=True,
            unique=True,
        ),
        Rule("age", number(lambda v: 0 <= v <= 130, "an age from 0 to 130", "years")),
        Rule("sex", (one_of(SEXES, "male, female, other (BIDS spellings)"),)),
        Rule("group"),
        Rule("affected_side", (one_of(AFFECTED_SIDES),)),
    ),
    extra_allowed=True,
)

SENSORS: Final = SheetKind(
    "sensors.tsv",
    (
        Rule("sensor_id", _ID, required=True, filled=True, unique=True),
        Rule("excitation_v", number(lambda v: v != 0, _NOT_ZERO, "volts")),
        Rule("r1_ohm", number(lambda v: v > 0, _POSITIVE, "ohms")),
        Rule("r2_ohm", number(lambda v: v > 0, _POSITIVE, "ohms")),
        Rule("r3_ohm", number(lambda v: v > 0, _POSITIVE, "ohms")),
        Rule("amplifier_gain", number(lambda v: v != 0, _NOT_ZERO)),
        Rule("polarity", number(lambda v: v in (-1, 1), "1 or -1")),
        Rule("rest_ohm", number(lambda v: v > 0, _POSITIVE, "ohms")),
        Rule("gauge_factor", number(lambda v: v != 0, _NOT_ZERO)),
        Rule("gauge_length_mm", number(lambda v: v > 0, _POSITIVE, "millimetres")),
    ),
    extra_allowed=False,
)

RECORDINGS: Final = SheetKind(
    "recordings.tsv",
    (
        Rule("recording_id", _ID, required=True, filled=True, unique=True),
        Rule("task", (one_of(TASKS),), required=True, filled=True),
        Rule("file", required=True, filled=True),
        Rule("participant_id"),
        Rule(
            "session_id",
            (matches("ses-[0-9a-zA-Z]+", "not a session id", "write ses-, then letters and digits"),),
        ),
        Rule("sensor_id"),
        Rule("sampling_frequency", number(lambda v: v > 0, _POSITIVE, "hertz")),
        Rule("time_column"),
        Rule("volume_ml", number(lambda v: v > 0, _POSITIVE, "millilitres")),
        Rule("walkway", (one_of(WALKWAYS),)),
        Rule("reference_use", (Check(understood, "not a use of the reference", REFERENCE_USE_REMEDY),)),
    ),
    extra_allowed=True,
)

CHANNELS: Final = SheetKind(
    "channels.tsv",
    (
        Rule("recording_id", required=True, filled=True),
        Rule("name", required=True, filled=True),
        Rule("tracked_point", (one_of(TRACKED_POINTS),), required=True, filled=True),
        Rule("units", (one_of(UNITS),), required=True, filled=True),
        Rule("sensor_id"),
        Rule("status", (one_of(CHANNEL_STATUS),)),
        Rule("polarity", number(lambda v: v in (-1, 1), "1 or -1")),
    ),
    extra_allowed=False,
)

SHEETS: Final[Mapping[str, SheetKind]] = {
    "participants": PARTICIPANTS,
    "sensors": SENSORS,
    "recordings": RECORDINGS,
    "channels": CHANNELS,
}
