"""On which real people the pipeline was tried, and how well it did, good and bad, as one page.

``python tests/experiments/tried_on.py docs/tried-on.md FOLDER...`` runs the pipeline's own stages on the study folders
given and writes the page. It knows the recordings of each data set by their ids (`SETS`); what is in none of the
folders is left out, and the page says so. The same folders give the same bytes.
"""

from __future__ import annotations

import re
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from experiments.answering_times import force_plate_index
from experiments.changing_walks import HEADER, all_joined, changes, outcomes
from experiments.gain_study import HEALTHY, LIMPING, figures_of, strapped
from experiments.moving_knees import STILL_DEG, bends_and_stillness, beside
from experiments.sleeve_study import CHOSEN_ON, first_third, mapped, read_pieces
from experiments.sleeve_study import figures_of as sleeve_figures
from experiments.strapped_walks import FS, SIDES, Walk, cancelling_gains, read_walks
from strainstudy.bends.parameters import BendParameters
from strainstudy.bends.rest import rest_share
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.walk import detect_walk
from strainstudy.signal.filters import lowpass
from strainstudy.stats.matching import match_instants

__all__ = ["SETS", "WrongFolderError", "main", "page"]

STILL_EVERY = 9
"""Still knees are set beside one bending knee in so many: each is tried in a dozen ways."""
TOLERANCES_S = (0.05, 0.1)
NEAR_S = 0.25
WORKING_HZ = 20.0
STILL_KNEES = 48
NOISES = ("white noise", "1/f noise", "sway")
TURN_S = 2.5


class WrongFolderError(Exception):
    """A folder in which nothing is that the page is about, in words for the person who named it."""


@dataclass(frozen=True)
class DataSet:
    """One set of recordings of real people.

    Parameters
    ----------
    ids : str
        Pattern of the ids of its recordings.
    name, recorded, source, licence : str
        What it is, in words.
    """

    ids: str
    name: str
    recorded: str
    source: str
    licence: str


SETS = {
    "treadmill": DataSet(
        r"\d\d-(limp|normal)-[ab]",
        "treadmill walks",
        "healthy adults on a split-belt treadmill, normal and with the left knee held stiff; knee angles from inertial "
        "sensors, contacts and toe-offs from force plates (50 N); their clocks agree to about 0.05 s",
        "Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1",
        "MIT",
    ),
    "sleeve": DataSet(
        r"pair-.*",
        "knitted sleeve",
        "a graphene sleeve on one knee beside motion capture: half squats, hamstring curls, leg press; who was "
        "recorded is not stated, here each pair and take is one person",
        "e-Body Lab, Imperial College London, graphene-based knitted sensing sleeve (2023)",
        "MIT",
    ),
    "goniometer": DataSet(
        r"[AN]\d\d-.*",
        "goniometer",
        "healthy men (N) and men with a knee abnormality (A), one knee: walking to and fro, standing flexion, seated "
        "extension; turns not labelled",
        "Sanchez and Sotelo, EMG dataset in Lower Limb, UCI Machine Learning Repository, doi 10.24432/C5ZW3P",
        "CC BY 4.0",
    ),
    "exercise": DataSet(
        r"exercise-.*",
        "exercise",
        "both knees from motion capture through sessions of exercise, what was done marked by hand; who was "
        "recorded is not stated, here each session is one person",
        "mocap6 dataset (M. Hughes 2015), raw data from the CMU motion capture database (mocap.cs.cmu.edu)",
        "BSD-2-Clause; free use",
    ),
}
DIPS_S: Mapping[str, Sequence[float]] = {
    "A02-walking": (5.1,),
    "A03-walking": (4.7, 12.2, 24.4, 34.2),
    "A04-walking": (7.0, 18.8, 31.7, 46.1),
    "A05-walking": (9.6, 19.7, 29.3, 38.0),
}
"""Where the steps of these walks get smaller and slower, read off the curves by eye: nobody labelled the turns."""
CHOICES = (
    (
        "pattern, rhythm, landmarks of a swing",
        "published knee curve of other people (Schwartz et al. 2008); simulated walks",
        "treadmill walks",
    ),
    ("contact 2 % after the end of extension", "published curve; treadmill walks", "none; each person left out, below"),
    ("toe-off 1 % after the fastest flexion", "published curve; treadmill walks", "none; each person left out, below"),
    (
        "step or bend: width, phase, loading, fit (`gait/bouts.py`)",
        "all four sets, simulated stroke walks",
        "none of this page",
    ),
    (
        "movement or rest: `bends.least_rest_spreads`",
        "sleeve, goniometer, simulated still knees",
        "none; each set left out, below",
    ),
    ("flexion or extension by the rest at either end", "sleeve, goniometer", "none of this page"),
    (
        "turns",
        "three simulated cohorts (two knees); goniometer walks (one knee)",
        "three other simulated cohorts, the demo; treadmill walks only had to have none",
    ),
    (
        "boundaries placed at strides",
        "simulated walks and joined treadmill walks",
        "none of this page; each person by a model of the others",
    ),
    (
        "classifier: family, features, windows",
        "simulated cohorts; the treadmill walks were looked at",
        "each person by a model of the others",
    ),
    (
        "sleeve map: form, knots, time constants",
        f"sleeve, {', '.join(CHOSEN_ON)}",
        "the other pairs, but for drift and the wander of the zero",
    ),
    ("throat", "simulated cohorts held to published facts", "no real recording"),
)


@dataclass(frozen=True)
class Given:
    """A data set as it was given: its folder, and its rows of the sheet with the seconds of each."""

    folder: Path
    rows: pd.DataFrame


def _seconds(path: Path, fs: float) -> float:
    return len(pd.read_csv(path, usecols=[0])) / fs


def given_in(folders: Sequence[Path]) -> dict[str, Given]:
    """Find the data sets in folders.

    Raises
    ------
    WrongFolderError
        When a folder is no study folder, or holds no recording of any of `SETS`.
    """
    found: dict[str, Given] = {}
    for folder in folders:
        sheet = folder / "recordings.tsv"
        if not sheet.is_file():
            raise WrongFolderError(f"{folder} has no recordings.tsv: name a study folder of recorded people.")
        rows = pd.read_csv(sheet, sep="\t", dtype=str)
        names = rows["recording_id"] if "recording_id" in rows else pd.Series(dtype=str)
        own = {key: rows[names.str.fullmatch(each.ids).to_numpy(dtype=bool)] for key, each in SETS.items()}
        if not any(len(part) for part in own.values()):
            kinds = ", ".join(each.name for each in SETS.values())
            raise WrongFolderError(f"{folder} holds no recording of a data set that this page knows ({kinds}).")
        for key, part in own.items():
            if len(part):
                seconds = [_seconds(folder / r.file, float(r.sampling_frequency)) for r in part.itertuples()]
                found[key] = Given(folder, part.assign(seconds=seconds))
    return found


def _table(head: Sequence[str], rows: Sequence[Sequence[object]]) -> list[str]:
    lines = [f"| {' | '.join(head)} |", "|" + "---|" * len(head)]
    return [*lines, *(f"| {' | '.join(str(cell) for cell in row)} |" for row in rows), ""]


def _sets_table(given: Mapping[str, Given]) -> list[str]:
    rows = []
    for key, each in SETS.items():
        if key in given:
            own = given[key].rows
            counts = (own["participant_id"].nunique(), len(own), f"{own['seconds'].sum() / 60:.1f}")
        else:
            counts = ("not given", "-", "-")
        rows.append((each.name, *counts, each.recorded, each.source, each.licence))
    return _table(("data set", "people", "recordings", "minutes", "what was recorded", "source", "licence"), rows)


@dataclass
class Timing:
    """Labelled, found and matched instants, and how late the matched ones are."""

    labelled: int = 0
    found: int = 0
    near: tuple[int, ...] = (0,) * len(TOLERANCES_S)
    late: tuple[float, ...] = ()

    def add(self, truth: np.ndarray, found: np.ndarray) -> None:
        """Count one knee of one recording."""
        self.labelled += truth.size
        self.found += found.size
        counts = [len(match_instants(truth, found, tolerance).reference) for tolerance in TOLERANCES_S]
        self.near = tuple(a + b for a, b in zip(self.near, counts, strict=True))
        matched = match_instants(truth, found, NEAR_S)
        self.late += tuple((found[matched.estimate] - truth[matched.reference]).tolist())

    def cells(self) -> tuple[object, ...]:
        """Give what a row of the table says."""
        f1 = (f"{2 * hits / max(self.labelled + self.found, 1):.3f}" for hits in self.near)
        late = 1000 * np.array(self.late)
        return (self.labelled, self.found, *f1, f"{np.mean(late):+.0f} ({np.median(late):+.0f})", f"{np.std(late):.0f}")


def _inside(onsets: np.ndarray, labels: pd.DataFrame) -> np.ndarray:
    spans = labels[labels["trial_type"] == "labelled"]
    if spans.empty:
        return onsets
    first = spans["onset"].to_numpy(float)
    last = first + spans["duration"].to_numpy(float)
    return onsets[((onsets[:, None] >= first) & (onsets[:, None] <= last)).any(axis=1)]


def _onsets(events: pd.DataFrame, kind: str, side: str) -> np.ndarray:
    return events.loc[(events["trial_type"] == kind) & (events["side"] == side), "onset"].to_numpy(float)


def _contacts(walks: Sequence[Walk]) -> Iterator[str]:
    timings: dict[tuple[str, str], Timing] = {}
    turns, minutes = 0, 0.0
    offsets: dict[str, list[float]] = {}
    for walk in walks:
        both = detect_walk(walk.angles, FS, GaitParameters())
        turns += int((both.states["trial_type"] == "turn").sum())
        minutes += len(walk.angles["left"]) / FS / 60
        for side in SIDES:
            alone = detect_walk({side: walk.angles[side]}, FS, GaitParameters())
            turns += int((alone.states["trial_type"] == "turn").sum())
            for kind, words in (("initial_contact", "contacts"), ("toe_off", "toe-offs")):
                truth = _onsets(walk.labels, kind, side)
                found = _inside(_onsets(both.events, kind, side), walk.labels)
                cells = [(words, walk.state.replace("_", " ")), (words, "all")]
                for cell in cells:
                    timings.setdefault(cell, Timing()).add(truth, found)
                if kind == "initial_contact":
                    single = _inside(_onsets(alone.events, kind, side), walk.labels)
                    timings.setdefault((words, "all, each knee alone"), Timing()).add(truth, single)
                match = match_instants(truth, found, NEAR_S)
                late = found[match.estimate] - truth[match.reference]
                offsets.setdefault(f"{words} {walk.participant_id}", []).extend(late.tolist())
    head = ("what", "walking", "labelled", "found", *(f"F1 within {t:g} s" for t in TOLERANCES_S))
    yield from _table(
        (*head, "late by, ms: mean (median)", "SD, ms"), [(*key, *timings[key].cells()) for key in sorted(timings)]
    )
    yield f"Turns claimed in {minutes:.1f} min of walking straight on, with both knees and with each alone: {turns}."
    yield ""
    people = sorted({walk.participant_id for walk in walks})
    rows = []
    for person in people:
        cells = []
        for words in ("contacts", "toe-offs"):
            means = {other: float(np.mean(offsets[f"{words} {other}"])) for other in people}
            own = means.pop(person)
            cells += [f"{1000 * own:+.0f}", f"{1000 * (own - np.mean(list(means.values()))):+.0f}" if means else "-"]
        rows.append((person, *cells))
    head = tuple(
        f"{words} late by, ms{more}" for words in ("contacts", "toe-offs") for more in ("", ", less the others'")
    )
    yield "What the offsets of contact and toe-off leave in each person, and what would be left had they been chosen on"
    yield "the other people:"
    yield ""
    yield from _table(("person", *head), rows)


def _states(walks: Sequence[Walk]) -> Iterator[str]:
    made = all_joined(walks)
    rows, placed, indices = [], [], []
    for word, outcome in outcomes(walks, made):
        own = {name: outcome.labels[name] for name in sorted(w.recording_id for w in walks)}
        rows.append((f"read in {word}", *_state_cells(replace(outcome, labels=own), walks)))
        placed += changes(word, outcome, made)
        if word == "degrees":
            gait = outcome.gait.groupby("recording_id")["step_time_symmetry_index"].mean()
            indices = [float(gait[w.recording_id]) - force_plate_index(w) for w in walks if w.recording_id in gait]
    with tempfile.TemporaryDirectory() as place:
        hidden = strapped(Path(place) / "study", walks, cancelling_gains(walks), bends=False)
    rows.append(("volts, gains that make the stiff knee's amplitude equal", *_cells(hidden)))
    head = ("walks", "balanced accuracy", "normal called limping, %", "limping found, %", "side right, %", "verdicts")
    yield "Each person is classified by a model of the others. The volts come from simulated sleeves, sensors and"
    yield "bridges that the recorded angles went through; all gains are in [gain-study.md](gain-study.md), sensors that"
    yield "answer at unequal speed in [answering-times.md](answering-times.md)."
    yield ""
    yield from _table(head, rows)
    error = np.array(indices)
    yield (
        f"Symmetry index of step time against the force plates, angles without any sensor, {error.size} walks: error "
        f"{error.mean():+.1f} points on average, SD {error.std(ddof=1):.1f}."
    )
    yield ""
    yield "One recording of each person joined from normal, limping and normal walking (22 s each):"
    yield ""
    yield from HEADER
    yield from placed
    yield ""


def _state_cells(outcome: object, walks: Sequence[Walk]) -> tuple[str, ...]:
    return _cells(figures_of(outcome, walks))


def _cells(found: object) -> tuple[str, ...]:
    def share(values: Mapping[str, float]) -> str:
        every = [100 * values[person] for person in sorted(values)]
        return f"{np.mean(every):.1f} (worst {max(every) if values is found.false_limping else min(every):.1f})"

    def words(state: str) -> str:
        return ", ".join(
            f"{n} {word}" for word, n in sorted(found.verdicts[state].items(), key=lambda x: (-x[1], x[0]))
        )

    return (
        f"{found.balanced_accuracy:.3f}",
        share(found.false_limping),
        share(found.recall),
        share(found.side_right),
        f"normal: {words(HEALTHY)}; limping: {words(LIMPING)}",
    )


def _without_zeros(lines: Sequence[str]) -> list[str]:
    """Leave out the kinds of still knees in which nothing was claimed, and say how many they are."""
    still = [line for line in lines if "said to be" in line and line.count("|") == 3]
    zero = [line for line in still if line.endswith(" 0.00 |")]
    kept = [line for line in lines if line not in zero]
    if zero:
        at = kept.index("|---|---|") + 1
        words = f"{len(zero)} of {len(still)} kinds (noise, sway, sine, drift, echo), one bending knee in {STILL_EVERY}"
        kept.insert(at, f"| {words} | 0.00 |")
    return kept


def _to_and_fro(states: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    rows = []
    for name in sorted(DIPS_S):
        if name not in states:
            continue
        own = states[name]
        turns = own[own["trial_type"] == "turn"]
        middle = (turns["onset"] + turns["duration"] / 2).to_numpy(float)
        dips = np.array(DIPS_S[name])
        near = np.abs(middle[:, None] - dips) < TURN_S
        rows.append((name, len(dips), int(near.any(axis=0).sum()), int((~near.any(axis=1)).sum())))
    if rows:
        yield "Walking to and fro, one knee: dips of the knee curve read by eye, since nobody labelled the turns. One"
        yield "knee alone cannot know turns: `turns_known` is false there."
        yield ""
        yield from _table(("recording", "dips", "found as turns", "turns elsewhere"), rows)


def _sleeve(folder: Path) -> Iterator[str]:
    pieces = read_pieces(folder, "pair-")
    rows = []
    for words, own in (
        ("chosen on", [p for p in pieces if p.recording_id.startswith(CHOSEN_ON)]),
        ("left out", [p for p in pieces if not p.recording_id.startswith(CHOSEN_ON)]),
    ):
        if own:
            f = sleeve_figures([(first_third(piece), piece) for piece in own], mapped)
            rmse = f"{np.median(f.rmse):.1f} ({np.mean(f.rmse):.1f}; {np.max(f.rmse):.1f})"
            rows.append((words, len(own), rmse, f"{100 * np.median(f.coverage):.0f} ({100 * np.mean(f.coverage):.0f})"))
    yield "Fitted on the first third of each recording, tested on the rest; more in [sleeve-study.md](sleeve-study.md)."
    yield ""
    yield from _table(
        (
            "recordings",
            "n",
            "RMSE, degrees: median (mean; worst)",
            "inside the 90 % interval, %: median (mean)",
        ),
        rows,
    )


def _reach(curve: np.ndarray, units: str) -> float:
    """How many standard deviations of its rest a knee's farthest excursion has."""
    how = ConditionParameters()
    clean = condition_trace(curve, FS, tracked_point="left_knee", units=units, parameters=how).response
    smooth = lowpass(np.nan_to_num(clean), FS, 3.0)[:: round(FS / WORKING_HZ)]
    return 1.0 / rest_share(smooth, WORKING_HZ)


def _left_out(given: Mapping[str, Given]) -> Iterator[str]:
    """Choose the least spreads of a bend on the other sets, and count what of the set left out it would lose."""
    reaches: dict[str, list[float]] = {}
    noise: list[float] = []
    for key, column in (("sleeve", "sleeve"), ("goniometer", "knee_deg")):
        for row in given[key].rows.itertuples() if key in given else ():
            raw = pd.read_csv(given[key].folder / row.file)
            if column not in raw or row.task == "walk":
                continue
            reaches.setdefault(SETS[key].name, []).append(_reach(raw[column].to_numpy(float), "a.u."))
            if len(noise) < STILL_KNEES:
                for size in STILL_DEG:
                    still = beside(raw["knee_deg"].to_numpy(float), FS, size, len(noise))
                    noise += [_reach(curve, "a.u.") for word, curve in still if word in NOISES]
    if len(reaches) < 2:
        yield "Left out: it needs both sleeve and goniometer."
        yield ""
        return
    rows = []
    for name, own in reaches.items():
        others = [value for other, values in reaches.items() if other != name for value in values]
        limit = float(np.sqrt(max(noise) * min(others)))
        lost = sum(value < limit for value in own)
        rows.append((name, len(own), f"{min(own):.1f}", f"{limit:.1f}", f"{lost} of {len(own)}", f"{max(noise):.1f}"))
    yield "How many standard deviations of its rest a knee must reach to bend (`bends.least_rest_spreads`,"
    now = f"{BendParameters().least_rest_spreads:g}"
    yield f"{now}): had it been put midway (geometric) between {len(noise)} still knees (noise and sway)"
    yield "and the least of the other sets alone:"
    yield ""
    head = (
        "left out",
        "recordings",
        "least reached",
        "limit chosen on the others",
        "would be lost",
        "still knees reach",
    )
    yield from _table(head, rows)


def _section(title: str, lines: Iterator[str] | None, lacking: str) -> list[str]:
    print(title, file=sys.stderr, flush=True)
    return [f"## {title}", "", *(lines if lines is not None else (f"Left out: {lacking} not given.", ""))]


def page(given: Mapping[str, Given]) -> str:
    """Write the page about the data sets that were given."""
    walks = read_walks(given["treadmill"].folder) if "treadmill" in given else None
    bends: list[str] | None = None
    states: Mapping[str, pd.DataFrame] = {}
    held = next((given[key] for key in ("sleeve", "goniometer", "exercise") if key in given), None)
    if held is not None:
        bends = []
        with tempfile.TemporaryDirectory() as place:
            states = bends_and_stillness(held.folder, Path(place), bends.append, still_every=STILL_EVERY)
        bends = [*_without_zeros(bends), "", *_to_and_fro(states)]
    lacking = SETS["treadmill"].name
    lines = [
        "# Tried on",
        "",
        "Written by `python tests/experiments/tried_on.py docs/tried-on.md FOLDER...` from study folders of recorded",
        "people, by the pipeline's own stages with the default settings. Everything else that is said of how well this",
        "works rests on simulated people.",
        "",
        *_sets_table(given),
        *_section("Contacts and toe-offs against force plates", _contacts(walks) if walks else None, lacking),
        *_section("Normal or limping, and where it changes", _states(walks) if walks else None, lacking),
        *_section(
            "Bends, still knees and exercise",
            iter(bends) if bends is not None else None,
            "sleeve, goniometer, exercise",
        ),
        *_section(
            "A sleeve calibrated by the reference beside it",
            _sleeve(given["sleeve"].folder) if "sleeve" in given else None,
            SETS["sleeve"].name,
        ),
        *_section(
            "A threshold chosen without the set that judges it",
            _left_out(given) if bends is not None else None,
            "sleeve and goniometer",
        ),
        "## Throats",
        "",
        "No real throat was recorded for this project, and none is handed on. The simulated ones were held to",
        "published facts; see [throat-film.md](throat-film.md) and [throat-shapes.md](throat-shapes.md).",
        "",
        "## What was chosen on what",
        "",
        *_table(("rule", "chosen on", "left out of the choice"), CHOICES),
    ]
    return "\n".join(lines).rstrip("\n") + "\n"


def main(arguments: Sequence[str]) -> int:
    """Write the page; 2 and one sentence where a folder is wrong."""
    if not arguments or not re.search(r"\.md$", arguments[0]):
        print("Name the page to write (a .md file), then the study folders.", file=sys.stderr)
        return 2
    try:
        given = given_in([Path(each) for each in arguments[1:]])
    except WrongFolderError as wrong:
        print(wrong, file=sys.stderr)
        return 2
    Path(arguments[0]).write_text(page(given), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
