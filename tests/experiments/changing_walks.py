"""Where a limp starts and ends inside a walk: recordings of one person joined, judged by a model of the others.

    python tests/experiments/changing_walks.py REAL_WALKS

REAL_WALKS is a study folder of recorded walks, normal and limping, of several people (knee angles in degrees, contacts
and states labelled). Of each person one recording is put together: rest, normal, limping, normal, rest, joined at
contacts of the left foot. It is read in degrees, and once more through simulated sleeves, sensors and bridges. The
classifier is that of the run, which never saw the person. Run in two checkouts it tells before from after.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from experiments.in_process import Outcome, run_stages
from experiments.strapped_walks import FS, SIDES, Walk, read_walks, write_volts
from strainstudy.study import load_study

__all__ = ["HEADER", "all_joined", "changes", "joined", "main", "outcomes"]

QUICK = {"permutations": 0, "bootstrap_resamples": 200}
PART_S = 22.0
FADE_S = 0.3
PLACE_S = 5.0
STATES = ("normal_gait", "limping_gait")
HEADER = (
    "| read as | person | bouts found (s) | limp starts late by, s | ends late by, s |",
    "|---|---|---|---|---|",
)


def _left_contacts(walk: Walk) -> np.ndarray:
    rows = walk.labels[(walk.labels["trial_type"] == "initial_contact") & (walk.labels["side"] == "left")]
    return np.sort(rows["onset"].to_numpy(float))


def _stretch(walk: Walk, start: float, stop: float) -> dict[str, np.ndarray]:
    return {side: walk.angles[side][round(start * FS) : round(stop * FS)] for side in SIDES}


def joined(normal: Walk, limping: Walk, after: Walk, name: str) -> Walk:
    """Join rest and normal walking, limping, and normal walking and rest, each cut at a left contact and faded over."""
    first, middle, last = (_left_contacts(walk) for walk in (normal, limping, after))
    stop = first[np.searchsorted(first, first[0] + PART_S)]
    start = middle[np.searchsorted(middle, middle[0] + PLACE_S)]
    end = middle[np.searchsorted(middle, start + PART_S)]
    again = last[np.searchsorted(last, last[-1] - PART_S)]
    pieces = [
        _stretch(normal, 0.0, stop + FADE_S),
        _stretch(limping, start, end + FADE_S),
        _stretch(after, again, len(after.angles["left"]) / FS),
    ]
    fade = np.linspace(0.0, 1.0, round(FADE_S * FS))
    angles = {}
    for side in SIDES:
        whole = pieces[0][side]
        for piece in pieces[1:]:
            own = piece[side]
            mixed = (1 - fade) * whole[-fade.size :] + fade * own[: fade.size]
            whole = np.concatenate([whole[: -fade.size], mixed, own[fade.size :]])
        angles[side] = whole
    limps, returns = stop, stop + end - start
    tail = returns - again
    walked = returns + last[-1] - again
    begins = float(normal.labels.loc[normal.labels["trial_type"] == STATES[0], "onset"].min())
    rows = [
        (0.0, begins, "rest", "n/a"), (begins, limps - begins, STATES[0], "n/a"),
        (limps, returns - limps, STATES[1], "left"), (returns, walked - returns, STATES[0], "n/a"),
    ]  # fmt: skip
    rest = after.labels[(after.labels["trial_type"] == "rest") & (after.labels["onset"] > last[-1] - 2.0)]
    if len(rest):
        rows.append((float(rest["onset"].iloc[-1]) + tail, float(rest["duration"].iloc[-1]), "rest", "n/a"))
    labels = pd.DataFrame(rows, columns=["onset", "duration", "trial_type", "side"])
    text = labels.to_csv(sep="\t", index=False)
    return Walk(name, normal.participant_id, angles, labels, text)


def all_joined(walks: Sequence[Walk]) -> list[Walk]:
    """One joined recording of each person who has two normal walks and a limp."""
    made = []
    for person in sorted({walk.participant_id for walk in walks}):
        own = sorted((w for w in walks if w.participant_id == person), key=lambda w: w.recording_id)
        normal, limping = ([w for w in own if w.state == state] for state in STATES)
        made.append(joined(normal[0], limping[0], normal[-1], f"{person}-joined"))
    return made


def write_degrees(folder: Path, walks: Sequence[Walk]) -> Path:
    """Write walks as a study folder of knee angles."""
    (folder / "raw").mkdir(parents=True)
    recordings, channels = [], []
    for walk in walks:
        pd.DataFrame({f"{side}_deg": walk.angles[side] for side in SIDES}).to_csv(
            folder / f"raw/{walk.recording_id}.csv", index=False
        )
        place = folder / "labels" / walk.recording_id
        place.mkdir(parents=True)
        (place / "forceplate_events.tsv").write_text(walk.label_text, encoding="utf-8")
        recordings.append(
            (walk.recording_id, walk.participant_id, "ses-01", "walk", f"raw/{walk.recording_id}.csv", FS)
        )
        channels += [(walk.recording_id, f"{side}_deg", f"{side}_knee", "deg") for side in SIDES]
    sheets = {
        "recordings": (
            recordings, ["recording_id", "participant_id", "session_id", "task", "file", "sampling_frequency"],
        ),
        "channels": (channels, ["recording_id", "name", "tracked_point", "units"]),
        "participants": (sorted({(walk.participant_id,) for walk in walks}), ["participant_id"]),
        "sensors": ([], ["sensor_id"]),
    }  # fmt: skip
    for name, (rows, columns) in sheets.items():
        pd.DataFrame(rows, columns=columns).to_csv(folder / f"{name}.tsv", sep="\t", index=False)
    return folder


def _errors(bouts: pd.DataFrame, walk: Walk) -> tuple[str, float, float]:
    """Bouts of gait in order, and by how much the limp found starts and ends late."""
    own = bouts[(bouts["recording_id"] == walk.recording_id) & bouts["trial_type"].isin(STATES)]
    words = " ".join(f"{row.trial_type[0]}{row.duration:.0f}" for row in own.itertuples())
    truth = walk.labels[walk.labels["trial_type"] == STATES[1]].iloc[0]
    limps = own[own["trial_type"] == STATES[1]]
    if limps.empty:
        return words, float("nan"), float("nan")
    found = limps.loc[limps["duration"].idxmax()]
    late = float(found["onset"] - truth["onset"])
    return words, late, late + float(found["duration"] - truth["duration"])


def outcomes(walks: Sequence[Walk], made: Sequence[Walk]) -> Iterator[tuple[str, Outcome]]:
    """Run all stages on walks and joined walks, read in degrees and once more in volts."""
    everyone = [*walks, *made]
    people = sorted({walk.participant_id for walk in walks})
    with tempfile.TemporaryDirectory() as place:
        for word in ("degrees", "volts"):
            root = Path(place) / word
            if word == "degrees":
                write_degrees(root, everyone)
            else:
                write_volts(root, everyone, dict.fromkeys(people, 1.0))
            run = Path(place) / f"{word}-run"
            run.mkdir()
            yield word, run_stages(load_study(root), run, {"classify": dict(QUICK)})


def changes(word: str, outcome: Outcome, made: Sequence[Walk]) -> list[str]:
    """Rows of the table of where limps start and end."""
    rows = []
    for walk in made:
        words, starts, ends = _errors(outcome.bouts, walk)
        rows.append(f"| {word} | {walk.participant_id} | {words} | {starts:+.1f} | {ends:+.1f} |")
    return rows


def main(root: Path, say: Callable[[str], None] = print) -> None:
    """Print where limps start and end."""
    walks = read_walks(root)
    made = all_joined(walks)
    for line in HEADER:
        say(line)
    for word, outcome in outcomes(walks, made):
        for row in changes(word, outcome, made):
            say(row)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
