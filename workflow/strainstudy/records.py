"""The rows of a checked study as dataclasses: participants, sensors, channels, recordings.

In: nothing. Out: the words every stage shares. How a study folder becomes these is in `strainstudy.study`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from .errors import Problem

__all__ = ["Channel", "Contributor", "Participant", "Recording", "Sensor", "Study"]


@dataclass(frozen=True)
class Participant:
    """One person.

    Parameters
    ----------
    participant_id : str
        ``sub-...``.
    age : float or None
        Years.
    sex : str or None
        ``male``, ``female`` or ``other``, whichever BIDS spelling the sheet has.
    group : str or None
        The lab's own word.
    affected_side : str or None
        ``left``, ``right``, ``both``, ``none``.
    extra : mapping of str to str
        The lab's own columns, without missing cells.
    """

    participant_id: str
    age: float | None = None
    sex: str | None = None
    group: str | None = None
    affected_side: str | None = None
    extra: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Sensor:
    """One sensor and its bridge.

    ``V_out = amplifier_gain * polarity * excitation_v * (Rx / (r3_ohm + Rx) - r2_ohm / (r1_ohm + r2_ohm))``
    with Rx the sensor; without ``r2_ohm`` the bridge is trimmed to zero output at rest.
    """

    sensor_id: str
    excitation_v: float | None = None
    r1_ohm: float | None = None
    r2_ohm: float | None = None
    r3_ohm: float | None = None
    amplifier_gain: float = 1.0
    polarity: int = 1
    rest_ohm: float | None = None
    gauge_factor: float | None = None
    gauge_length_mm: float | None = None


@dataclass(frozen=True)
class Channel:
    """One channel of a recording.

    Parameters
    ----------
    name : str
        Column or channel name in the raw file.
    tracked_point, units : str
        Where the sensor sits and what the numbers are.
    sensor_id : str or None
        The channel's own sensor, else the recording's.
    status : str
        ``good`` or ``bad`` (left out).
    shared : bool
        From a row for every recording (``*``): a raw file without this column is no fault.
    polarity : int or None
        1 or -1, in place of the sensor's: how this channel was wired in this recording.
    """

    name: str
    tracked_point: str
    units: str
    sensor_id: str | None = None
    status: str = "good"
    shared: bool = False
    polarity: int | None = None


@dataclass(frozen=True)
class Recording:
    """One raw file.

    Parameters
    ----------
    recording_id, task : str
        Unique id; task of the vocabulary.
    path : Path
        The raw file.
    file : str
        Its path as the sheet has it.
    participant_id, session_id, sensor_id : str or None
        Who, when, and on the bench which sensor.
    sampling_frequency : float or None
        Hz, as the sheet says.
    time_column : str or None
        Column of time stamps.
    volume_ml : float or None
        Volume of a timed water swallow.
    channels : tuple of Channel
        What to read.
    labels : mapping of str to Path
        Rater to label file, by rater.
    extra : mapping of str to str
        The lab's own columns, without missing cells.
    reference_use : str or None
        What a reference angle is for (`strainstudy.reference_use`); None as ``validate``.
    walkway : str or None
        ``overground`` or ``treadmill``; None where the sheet does not say.
    """

    recording_id: str
    task: str
    path: Path
    file: str
    participant_id: str | None = None
    session_id: str | None = None
    sensor_id: str | None = None
    sampling_frequency: float | None = None
    time_column: str | None = None
    volume_ml: float | None = None
    channels: tuple[Channel, ...] = ()
    labels: Mapping[str, Path] = field(default_factory=dict)
    extra: Mapping[str, str] = field(default_factory=dict)
    reference_use: str | None = None
    walkway: str | None = None


@dataclass(frozen=True)
class Contributor:
    """One person who worked on the study, with all of their roles.

    Parameters
    ----------
    name : str
        As it is to be printed.
    roles : tuple of str
        In the order of the sheet.
    orcid : str or None
        Sixteen characters in four groups.
    affiliation : str or None
        The person's institution.
    """

    name: str
    roles: tuple[str, ...]
    orcid: str | None = None
    affiliation: str | None = None


@dataclass(frozen=True)
class Study:
    """A study whose sheets and label files are without fault; each mapping is sorted by id.

    Parameters
    ----------
    root : Path
        Study folder.
    participants, sensors, recordings : mapping
        The rows of the sheets.
    cautions : tuple of Problem
        What is unlikely in them and stops nothing.
    sheets : tuple of Path
        The files that these rows were read from.
    contributors : tuple of Contributor
        Who did what, where the study says so.
    """

    root: Path
    participants: Mapping[str, Participant]
    sensors: Mapping[str, Sensor]
    recordings: Mapping[str, Recording]
    cautions: tuple[Problem, ...] = ()
    sheets: tuple[Path, ...] = ()
    contributors: tuple[Contributor, ...] = ()
