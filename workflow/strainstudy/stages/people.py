"""A page for each person of some batches, from result tables and the labels of held angles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from ..errors import counted
from ..io.atomic import write_text
from ..io.frames import read_frame, read_frames, read_rows, write_json
from ..jobs import Progress
from ..people.facts import OF_EVERYBODY, TABLES, facts_of
from ..people.names import page_file, people_in
from ..people.page import page_text
from ..records import Participant, Recording
from ..tables import read_table
from ..tables.angles import CALIBRATIONS
from ..tables.sensors import SENSOR_HEALTH
from ..tables.standing import CHANGE, NORMS
from ..tables.validation import PARAMETERS
from .bodies import of_reference_rater
from .labels import labels_of

__all__ = ["FRAMES", "run"]

FRAMES = ("recordings", "gait", "curves", "bouts", "events", "summary")
"""Tables of the whole study that are read as Parquet, unrounded."""


def run(
    recordings: Sequence[Recording],
    participants: Mapping[str, Participant],
    *,
    reference_rater: str | None,
    study: str,
    frames: Mapping[str, Path],
    bends: Sequence[Path],
    calibrations: Sequence[Path],
    results: Path,
    made: Path,
    progress: Progress,
) -> None:
    """Write the pages of the people of some batches.

    Parameters
    ----------
    recordings : sequence of Recording
        Of these batches, with the labels that hold known angles.
    participants : mapping of str to Participant
        At least those of the batches.
    reference_rater : str or None
        Whose labels count.
    study : str
        Study folder, for the title.
    frames : mapping of `FRAMES` to Path
    bends, calibrations : sequence of Path
        Of each batch, from segment and calibrate.
    results : Path
        Results folder; its tables of sensor health, norms, change and agreement with labels are there already.
    made : Path
        To write: size in bytes of each page by its name.
    progress : Progress
    """
    tables = {name: read_frame(frames[name]) for name in FRAMES}
    tables["bends"] = read_frames(bends)
    tables["health"] = read_table(results, SENSOR_HEALTH)
    tables["change"] = read_table(results, CHANGE)
    tables["norms"] = read_table(results, NORMS)
    tables["parameters"] = read_table(results, PARAMETERS)
    maps = read_rows(calibrations)
    tables["calibrations"] = maps if len(maps) else CALIBRATIONS.empty()
    labels = {
        name: chosen
        for name, raters in labels_of(recordings).items()
        if (chosen := of_reference_rater(raters, reference_rater)) is not None
    }
    present = people_in(recordings)
    # cut to these people once, as each of them is looked for in every table
    mine = {"recording_id": [r.recording_id for r in recordings], "participant_id": present}
    for name, (key, *_) in TABLES.items():
        if name not in OF_EVERYBODY:
            tables[name] = tables[name][tables[name][key].isin(mine[key])]
    sizes = {}
    for person in present:
        own = tuple(sorted((r for r in recordings if r.participant_id == person), key=lambda r: r.recording_id))
        given = participants.get(person, Participant(person))
        text = page_text(facts_of(given, own, tables, labels), Path(study).name)
        write_text(results / page_file(person), text)
        sizes[page_file(person)] = len(text.encode())
    write_json(made, sizes)
    progress.say(f"{counted(len(sizes), 'page')}, {sum(sizes.values()) / 1e6:.2f} MB")
