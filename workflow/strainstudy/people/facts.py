"""What there is to say of one person: own rows of the result tables, by session.

In: rows of sheets, result tables of a study. Out: the same cut to a person, with the session beside each recording.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import pandas as pd

from ..records import Participant, Recording
from .measure_words import WALK_MEASURES

__all__ = ["NO_SESSION", "OF_EVERYBODY", "TABLES", "Facts", "facts_of", "nominal_holds", "rows_of"]

NO_SESSION: Final = "no session given"
_ANGLES: Final = ("angle", "angle_low", "angle_high")
TABLES: Final[Mapping[str, tuple[str, ...]]] = {
    "recordings": ("recording_id", "duration", "status", "status_description", "channels"),
    "calibrations": (
        "participant_id", "session_id", "tracked_point", "sensor_id", "status", "source", "status_description",
        "hold_count", "repeatability", "left_out_error",
    ),
    "health": ("sensor_id", "participant_id", "session_id", "flagged", "reason"),
    "bends": ("recording_id", "side", "onset", "duration", *_ANGLES),
    "gait": (
        "recording_id", "trial_type", "n_strides_left", "n_strides_right", "warning", "prediction", "verdict",
        "verdict_side", "step_time_settled_from", "amplitude_settled_from",
        *(f"{name}{end}" for name in WALK_MEASURES for end in ("", "_low", "_high")),
    ),
    "curves": ("recording_id", "trial_type", "side", "percent", "mean", "sd", "n"),
    "bouts": ("recording_id", "onset", "duration", "trial_type", "limping_side"),
    "events": ("recording_id", "onset", "duration", "trial_type", "side"),
    "summary": (
        "recording_id", "swallow_count", "rate", "rate_low", "rate_high", "duration_mean", "interval_mean", "volume",
        "volume_per_swallow", "swallowing_speed", "sensor_note", "prediction",
    ),
    "norms": ("participant_id", "session_id", "measure", "counts", "published_low", "published_high", "source"),
    "change": (
        "participant_id", "trial_type", "measure", "unit", "walkway", "session_id", "later_session_id", "value",
        "later_value", "change", "change_low", "change_high", "minimal_detectable_change",
        "others_detectable_change", "exceeds", "error_basis",
    ),
    "parameters": ("measure", "unit", "validity", "from_rater_timing"),
}  # fmt: skip
"""What the pages read of the results, and which columns of it; whose a row is comes first."""
OF_EVERYBODY: Final = ("health", "parameters")
"""Tables of which a page shows other people's rows too: uses of sensors worn here, agreement with labels."""
_SOMETIMES: Final[Mapping[str, tuple[str, ...]]] = {"gait": ("trained", "rule_limping_share")}
_MOST_SESSIONS: Final = 4
"""Sessions side by side; of more the first and the last ones are shown, for two sheets to be enough (ours)."""


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Give the rows of a frame as dicts."""
    columns = [frame[name].tolist() for name in frame.columns]
    return [dict(zip(map(str, frame.columns), row, strict=True)) for row in zip(*columns, strict=True)]


@dataclass(frozen=True)
class Facts:
    """One person and the rows that are theirs.

    Parameters
    ----------
    person : Participant
    recordings : tuple of Recording
        As in the sheets, sorted by id.
    tables : mapping of `TABLES` to DataFrame
        Own rows, all but ``health`` with a column ``session``; ``health`` holds every use of the sensors worn.
    holds : DataFrame
        As `nominal_holds` gives them, with ``session``.
    """

    person: Participant
    recordings: tuple[Recording, ...]
    tables: Mapping[str, pd.DataFrame]
    holds: pd.DataFrame

    @cached_property
    def all_sessions(self) -> list[str]:
        """Every session in order of its name."""
        return sorted({recording.session_id or NO_SESSION for recording in self.recordings})

    @cached_property
    def sessions(self) -> list[str]:
        """Sessions that are shown."""
        every = self.all_sessions
        return every if len(every) <= _MOST_SESSIONS else [every[0], *every[1 - _MOST_SESSIONS :]]

    def of(self, table: str, session: str) -> pd.DataFrame:
        """Rows of a table in a session."""
        frame = self.tables[table]
        return frame[frame["session"] == session]

    def in_session(self, session: str) -> list[Recording]:
        """Give the recordings of a session."""
        return [r for r in self.recordings if (r.session_id or NO_SESSION) == session]

    def short(self, recording_id: str) -> str:
        """Name a recording without the person and session before it, where it has them there."""
        return (
            recording_id.split("_")[-1] if recording_id.startswith(f"{self.person.participant_id}_") else recording_id
        )


def nominal_holds(bends: pd.DataFrame, labels: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Pair each labelled hold at a known angle with the detected bend of that knee that it overlaps most.

    Parameters
    ----------
    bends : DataFrame
        Of ``tables/knee_bends.tsv``.
    labels : mapping of recording_id to DataFrame
        Labels of one rater.

    Returns
    -------
    DataFrame
        ``recording_id``, ``side``, ``nominal``, ``angle``, ``angle_low``, ``angle_high``; the angle is NaN where no
        bend was found, as of a straight leg, or the knee has no map to degrees.
    """
    rows: list[dict[str, Any]] = []
    for recording, marks in labels.items():
        known = marks[(marks["trial_type"] == "knee_bend") & marks["value"].notna()]
        own = rows_of(bends[bends["recording_id"] == recording])
        for mark in rows_of(known):
            best: dict[str, Any] = {}
            longest, end = 0.0, mark["onset"] + mark["duration"]
            for bend in own:
                shared = min(end, bend["onset"] + bend["duration"]) - max(mark["onset"], bend["onset"])
                if bend["side"] == mark["side"] and shared > longest:
                    best, longest = bend, shared
            row = {"recording_id": recording, "side": mark["side"], "nominal": float(mark["value"])}
            rows.append(row | {name: best.get(name, np.nan) for name in _ANGLES})
    names = ["recording_id", "side", "nominal", *_ANGLES]
    return pd.DataFrame(rows, columns=names)


def facts_of(
    person: Participant,
    recordings: tuple[Recording, ...],
    tables: Mapping[str, pd.DataFrame],
    labels: Mapping[str, pd.DataFrame],
) -> Facts:
    """Cut the tables of a study to a person.

    Parameters
    ----------
    person : Participant
    recordings : tuple of Recording
        Of this person.
    tables : mapping of `TABLES` to DataFrame
        Of the study, or of any part of it that holds the person's rows.
    labels : mapping of recording_id to DataFrame
        The reference rater's labels.

    Returns
    -------
    Facts
    """
    session_of = {r.recording_id: r.session_id or NO_SESSION for r in recordings}
    used = tables["recordings"].set_index("recording_id")["channels"]
    worn = {
        channel.sensor_id or r.sensor_id
        for r in recordings
        for channel in r.channels
        if channel.tracked_point in str(used.get(r.recording_id)).split(", ")
    }
    own: dict[str, pd.DataFrame] = {}
    for name, columns in TABLES.items():
        frame = tables[name]
        shown = [*columns, *(column for column in _SOMETIMES.get(name, ()) if column in frame)]
        if name == "health":
            # of the sensors that were worn, whoever wore them then: a fault of one concerns everybody who did
            own[name] = frame.loc[frame["sensor_id"].isin(list(worn)), shown]
        elif name == "parameters":
            # of everybody's labels: how well a measure is known is no matter of whose it is
            own[name] = frame[shown]
        elif "recording_id" in shown:
            mine = frame.loc[frame["recording_id"].isin(list(session_of)), shown]
            mine["session"] = pd.Series([session_of[r] for r in mine["recording_id"]], index=mine.index, dtype=object)
            own[name] = mine
        else:
            mine = frame.loc[frame["participant_id"] == person.participant_id, shown]
            sessions = [NO_SESSION if pd.isna(session) else session for session in mine["session_id"]]
            mine["session"] = pd.Series(sessions, index=mine.index, dtype=object)
            own[name] = mine
    holds = nominal_holds(own["bends"], {name: frame for name, frame in labels.items() if name in session_of})
    return Facts(person, recordings, own, holds.assign(session=holds["recording_id"].map(session_of)))
