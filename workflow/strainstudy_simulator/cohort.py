"""A whole invented study folder: a small-town stroke rehabilitation follow-up.

In: a seed and a size. Out: sheets, raw files, hand labels and a README, the same bytes each time. Six people after
stroke and six controls wear sensor sets at two sessions some weeks apart; the sets change hands between sessions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from strainstudy.io.atomic import write_text

from .folder import FolderWriter
from .people import PLACES, SET_NAMES, TIRED_SENSOR, Person, Unit, draw_person, draw_unit, later, rng_for, settled, worn
from .sessions import bend_take, free_take, stretch_take, swallow_take, tap_take, walk_take, water_take

__all__ = ["DEFAULT_SEED", "FAULTS", "TASKS", "write_study"]

DEFAULT_SEED: Final = 20_240_101
TASKS: Final = ("bend", "walk", "swallow", "water", "free", "bend-after")

# Each fault and each odd format once, where a reader of the README finds it.
FAULTS: Final[Mapping[str, str]] = {
    "sub-03_ses-01_walk": "gap",
    "sub-05_ses-01_walk": "clipped",
    "sub-08_ses-02_walk": "unplugged",
    "sub-09_ses-02_bend": "reversed",
    "sub-09_ses-02_walk": "reversed",
    "sub-07_ses-01_swallow": "jittered",
    "sub-10_ses-02_water": "corrupt",
}
_FORMATS: Final[Mapping[str, str]] = {
    "sub-04_ses-02_walk": "european",
    "sub-02_ses-01_walk": "edf",
    "sub-02_ses-01_swallow": "edf",
    "sub-06_ses-01_walk": "parquet",
    "kneeL-B_ses-01_tap": "tdms",
}
_PARTIAL: Final[Mapping[str, tuple[float, float]]] = {
    "sub-07_ses-02_walk": (0.0, 0.6),
    "sub-11_ses-01_swallow": (0.3, 1.0),
    "sub-12_ses-02_walk": (0.25, 0.75),
}
_CONTRIBUTORS: Final = """\
name\trole\torcid\taffiliation
Ada Invented\tConceptualization\tn/a\tInstitute that does not exist
Ada Invented\tInvestigation\tn/a\tInstitute that does not exist
Ben Invented\tFormal analysis\tn/a\tInstitute that does not exist
Cleo Invented\tData curation\tn/a\tInstitute that does not exist
"""
_FAULT_WORDS: Final = {
    "gap": "two and a half seconds are missing: the time stamps jump",
    "clipped": "the right knee's amplifier jumps by an offset for part of the walk, so that peaks meet its rail",
    "unplugged": "the right knee's lead comes off for part of the walk",
    "reversed": "the left knee's bridge is wired the other way round; sensors.tsv does not know",
    "jittered": "time stamps jitter and some repeat",
    "corrupt": "the compressed file breaks off in the middle",
}
_FORMAT_WORDS: Final = {
    "european": "semicolons, decimal commas, and lines of preamble above the header",
    "edf": "EDF+",
    "parquet": "Parquet without a time column",
    "tdms": "TDMS",
}


def _readme(writer: FolderWriter, seed: int, people: int) -> str:
    present = {row.recording_id for row in writer.rows}
    lines = [
        "# Invented data",
        "",
        f"{people} people who do not exist, in a stroke rehabilitation follow-up that did not take place. A physical",
        "model of bodies, sensors and electronics made every sample and every label in here",
        f"(`python -m strainstudy_simulator FOLDER --seed {seed}`); nobody was recorded. Use it to see what the",
        "pipeline does, and for nothing else.",
        "",
        "Two sessions, each with one sensor set (both knees and the throat) per person; the sets change hands.",
        "After a session's first recording the rest resistance of the knees' sensors moves by 2 to 3 percent.",
        "`rater1` labels everything, `rater2` about a third.",
    ]
    noted = [
        *(f"- `{k}`: {_FAULT_WORDS[v]}." for k, v in writer.faults.items() if k in present),
        *(f"- `{k}`: {_FORMAT_WORDS[v]}." for k, v in writer.formats.items() if k in present),
        *(f"- `{k}`: labelled in part only." for k in writer.partial if k in present),
    ]
    if any(channel.sensor_id == TIRED_SENSOR for _, channel in writer.channels):
        noted.append(f"- `{TIRED_SENSOR}`: tired by the second session (weaker, noisier, of higher resistance).")
    if noted:
        lines += ["", "## Put in on purpose", "", *noted]
    return "\n".join(lines) + "\n"


def write_study(
    folder: Path,
    *,
    people: int = 12,
    sessions: int = 2,
    seed: int = DEFAULT_SEED,
    minutes: float | None = None,
    tasks: Sequence[str] = TASKS,
    sampling_frequency: float | None = None,
    bench: bool = True,
    faults: bool = True,
) -> Path:
    """Write a study folder.

    Parameters
    ----------
    folder : Path
        Made if it is not there; files of the same names are replaced.
    people, sessions : int
        How many; a person's data do not change with these numbers.
    seed : int
    minutes : float, optional
        Length of each walk, swallow and free recording; about 1.2 minutes where not given.
    tasks : sequence of str
        Of ``bend``, ``walk``, ``swallow``, ``water`` (every second session), ``free`` (one person in four, all
        where it is the only task) and ``bend-after`` (one in three, of those without a goniometer).
    sampling_frequency : float, optional
        Hz for all body recordings; the rates of the demo where not given (knees 100, throats 100 or 200).
    bench : bool
        Whether the worn sensors also go on the bench.
    faults : bool
        Whether to put in the faults, odd formats and partial labels of the demo.

    Returns
    -------
    Path
        The folder.
    """
    writer = FolderWriter(
        folder,
        seed,
        faults=FAULTS if faults else {},
        formats=_FORMATS if faults else {},
        partial=_PARTIAL if faults else {},
    )
    persons = [draw_person(k, seed) for k in range(people)]
    units = {
        (name, place): draw_unit(name, place, seed)
        for name in SET_NAMES
        for place in PLACES
        if any((k + s) % len(SET_NAMES) == SET_NAMES.index(name) for k in range(people) for s in range(sessions))
    }
    for k, person in enumerate(persons):
        for session in range(sessions):
            _session(writer, person, k, session, units, minutes, tasks, sampling_frequency)
    if bench:
        for (name, _), unit in units.items():
            for session in range(min(sessions, 2)):
                # Only two sets come back to the bench at the end.
                if session and name not in ("A", "C"):
                    continue
                _bench(writer, worn(unit, "bench", session, seed), session)
    writer.sheets(persons, list(units.values()))
    write_text(folder / "contributors.tsv", _CONTRIBUTORS)
    write_text(folder / "README.md", _readme(writer, seed, people))
    return folder


def _session(
    writer: FolderWriter,
    person: Person,
    index: int,
    session: int,
    units: Mapping[tuple[str, str], Unit],
    minutes: float | None,
    tasks: Sequence[str],
    sampling_frequency: float | None,
) -> None:
    set_name = SET_NAMES[(index + session) % len(SET_NAMES)]
    seed, session_id = writer.seed, f"ses-{session + 1:02d}"
    worn_units = {p: worn(units[set_name, p], person.participant_id, session, seed) for p in PLACES}
    knee_hz = sampling_frequency or 100.0
    throat_hz = sampling_frequency or (200.0 if set_name in ("C", "D") else 100.0)
    goniometer = index % 3 == 0
    seconds = None if minutes is None else 60 * minutes

    for task in tasks:
        if task not in TASKS:
            raise ValueError(f"tasks must be among {', '.join(TASKS)}, not {task!r}")
        if task == "free" and index % 4 != 1 and tuple(tasks) != ("free",):
            continue
        if (task == "water" and (index + session) % 2) or (task == "bend-after" and index % 3 != 1):
            continue
        recording_id = f"{person.participant_id}_{session_id}_{task}"
        rng = rng_for(seed, recording_id)
        mischief = writer.faults.get(recording_id)
        now = worn_units
        if task != "bend":
            now = {
                p: unit if p == "throat" else settled(unit, person.participant_id, session, task, seed)
                for p, unit in worn_units.items()
            }
        if task in ("bend", "bend-after"):
            first = task == "bend"
            many = first and index % 4 == 0
            take = bend_take(
                now if first else {p: later(unit, rng) for p, unit in now.items()},
                rng,
                fs=knee_hz,
                targets_deg=(30.0, 45.0, 60.0, 90.0) if many else (45.0, 90.0),
                singles=1 if first and not many else 0,
                goniometer=goniometer and first,
                mischief=mischief,
            )
        elif task == "walk":
            take = walk_take(
                person,
                session,
                now,
                rng,
                fs=knee_hz,
                seconds=70.0 if seconds is None else seconds,
                goniometer=goniometer,
                mischief=mischief,
            )
        elif task == "swallow":
            take = swallow_take(person, now["throat"], rng, fs=throat_hz, seconds=100.0 if seconds is None else seconds)
        elif task == "water":
            take = water_take(person, now["throat"], rng, fs=throat_hz)
        else:
            take = free_take(person, session, now, rng, fs=knee_hz, seconds=60.0 if seconds is None else seconds)
        writer.save(
            recording_id,
            take,
            participant_id=person.participant_id,
            session_id=session_id,
            millivolt=set_name == "B",
        )


def _bench(writer: FolderWriter, unit: Unit, session: int) -> None:
    session_id = f"ses-{session + 1:02d}"
    for task, make in (("stretch", stretch_take), ("tap", tap_take)):
        recording_id = f"{unit.sensor_id}_{session_id}_{task}"
        take = make(unit, rng_for(writer.seed, recording_id))
        writer.save(recording_id, take, participant_id=None, session_id=session_id, sensor_id=unit.sensor_id)
