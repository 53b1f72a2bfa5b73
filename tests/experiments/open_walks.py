"""The model that comes along, tried on people and sensors that it has not seen, the published rule beside it.

``python tests/experiments/open_walks.py trials workflow/models/open-walks`` writes ``trials.tsv`` there, which the card
of the model shows. ``python tests/experiments/open_walks.py page docs/open-walks.md`` writes the page: unlabelled
copies of the recorded walks and of the demo, decided by the model and by the rule, and what its data are worth to a
study with few labels. Nobody is ever judged by a model that learnt from them.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from experiments.changing_walks import write_degrees
from experiments.in_process import without_bends
from experiments.strapped_walks import Walk, read_walks, write_volts
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.gait.state_time import COLUMN_STATES, state_seconds
from strainstudy.gait.task import gait_rows, gait_task, labelled_windows
from strainstudy.gait.training import train_states
from strainstudy.gait.windows import GAIT_FEATURES
from strainstudy.learn.crossfit import available, predict, recipe_of, restricted
from strainstudy.learn.decide import train_variants
from strainstudy.learn.evidence import balanced_accuracy, thin
from strainstudy.learn.external import Given
from strainstudy.learn.feature_rows import Rows, Task, log_loss, stack
from strainstudy.learn.fitting import PersonClassifier, Recipe, fit, person_weights, too_few
from strainstudy.learn.threads import one_thread
from strainstudy.records import Study
from strainstudy.stages.shipped_model import ELSEWHERE, walk_frames
from strainstudy.study import load_study
from strainstudy.tables import read_table, write_table
from strainstudy.tables.spec import number
from strainstudy.tables.training import TRAINING, TRIALS
from strainstudy.vocabulary import GAIT_STATES, STATES
from strainstudy_simulator.gaits import MECHANISMS, healthy_gait, limp
from strainstudy_simulator.knee import Segment, walk_knees

__all__ = ["leaving_out", "outcomes", "read_known", "write_trials"]

ROOT = Path(__file__).resolve().parents[2]
MODEL = ROOT / "workflow/models/open-walks"
PARAMETERS = ClassifyParameters()
GAINS = (0.3, 1.0, 3.0)
PEOPLE = 8
SEVERITIES = (0.5, 1.0)
SEED = 416
WALK_S = 40.0
SIZES = (1, 2, 3, 4, 5, 6, 8, 10)
DRAWS = 30
NORMAL, LIMPING = (STATES.index(state) for state in GAIT_STATES)


def read_known(folder: Path = MODEL) -> pd.DataFrame:
    """Read the labelled windows that the model learnt from."""
    known = read_table(folder, TRAINING, [number(s.name, s.name, s.formula, s.unit) for s in GAIT_FEATURES])
    for name in ("label", "label_side"):
        known[name] = pd.Series([None if pd.isna(word) else word for word in known[name]], dtype=object)
    return known.assign(touched=True)


@one_thread
def leaving_out(known: pd.DataFrame, person: str | None) -> Given:
    """Train the stored variants without one of the people, or on all."""
    own = known[known["participant_id"] != person].reset_index(drop=True)
    task = gait_task()
    rows = gait_rows(own, task, {}, PARAMETERS)
    models = train_variants(rows, task, recipe_of(PARAMETERS, PARAMETERS.families))
    return Given(models, {"elsewhere": dict(ELSEWHERE), "data": {}})


@dataclass(frozen=True)
class Outcome:
    """What model or rule gave in one trial: sums of seconds of each person, and the loss of the model's windows."""

    seconds: dict[str, np.ndarray]
    sides: dict[str, np.ndarray]
    losses: dict[str, float]

    def row(self) -> dict[str, float]:
        """Shares of labelled time, mean over people; a turn counts nowhere."""
        turn = COLUMN_STATES.index("turn")
        limping = COLUMN_STATES.index(GAIT_STATES[1])
        false, found, kept = [], [], []
        for table in self.seconds.values():
            part = np.delete(table, turn, axis=1)
            at = limping if limping < turn else limping - 1
            if part[NORMAL].sum():
                false.append(part[NORMAL, at] / part[NORMAL].sum())
                kept.append(part[NORMAL, COLUMN_STATES.index(GAIT_STATES[0])] / part[NORMAL].sum())
            if part[LIMPING].sum():
                found.append(part[LIMPING, at] / part[LIMPING].sum())
        side = [right / (sided - turned) for sided, right, turned in self.sides.values() if sided > turned]

        def mean(values: Sequence[float]) -> float:
            return float(np.mean(values)) if len(values) else float("nan")

        return {
            "n_participants": len(self.seconds),
            "balanced_accuracy": (mean(kept) + mean(found)) / 2,
            "false_limping": mean(false),
            "recall": mean(found),
            "side_right": mean(side),
            "log_loss": mean(list(self.losses.values())),
        }


def _seconds(bouts: pd.DataFrame, frames: Mapping[str, Any], people: Mapping[str, str], into: Outcome) -> None:
    for name, own in bouts.groupby("recording_id", sort=True):
        person = people[str(name)]
        if name not in frames["labels"]:
            continue
        part = state_seconds(str(name), person, frames["labels"][name], own, tiled=True)
        into.seconds[person] = into.seconds.get(person, 0.0) + part.seconds
        into.sides[person] = into.sides.get(person, 0.0) + part.side


def outcomes(frames: Mapping[str, Any], judges: Mapping[str | None, Given]) -> tuple[Outcome, Outcome]:
    """Decide by the model and by the rule, without the labels, and score both with them.

    Parameters
    ----------
    frames : mapping
        From `walk_frames`.
    judges : mapping of participant_id to Given
        The model that judges each person; that under None judges everybody else.

    Returns
    -------
    Outcome, Outcome
        Of model and rule.
    """
    model, rule = Outcome({}, {}, {}), Outcome({}, {}, {})
    windows, states = frames["windows"], frames["states"]
    people = dict(zip(windows["recording_id"], windows["participant_id"], strict=True))
    for person in sorted(set(people.values())):
        own = windows[windows["participant_id"] == person]
        walks = states[states["recording_id"].isin(set(own["recording_id"]))]
        who = pd.DataFrame({"participant_id": [person]})
        result = train_states(own, walks, {}, who, PARAMETERS, given=judges.get(person, judges.get(None)))
        _seconds(result.bouts, frames, people, model)
        _seconds(result.rule_bouts, frames, people, rule)
        known = labelled_windows(own, frames["labels"], PARAMETERS)
        p = result.predictions["probability_limping"].to_numpy(dtype=float)
        some = known["label"].notna().to_numpy() & np.isfinite(p)
        right = np.where(known["label"] == GAIT_STATES[1], p, 1.0 - p)[some]
        if right.size:
            model.losses[person] = float(log_loss(right).mean())
    return model, rule


def _simulated() -> tuple[list[Walk], dict[str, list[str]]]:
    """Walk simulated people, normally and with limps of every mechanism; give which recordings make up a trial."""
    walks, trials = [], {}
    for k in range(PEOPLE):
        person, side = f"sub-{k + 1:02d}", ("left", "right")[k % 2]
        gait = healthy_gait(np.random.default_rng([SEED, k]))
        ways = {"normal": gait} | {
            f"{mechanism}-{severity:g}".replace(".", ""): limp(gait, side, mechanism, severity)
            for mechanism in MECHANISMS
            for severity in SEVERITIES
        }
        for number_, (name, way) in enumerate(ways.items()):
            script = [Segment("rest", 2.0), Segment("walk", WALK_S, way), Segment("rest", 2.0)]
            motion = walk_knees(script, 100.0, np.random.default_rng([SEED, k, number_]))
            rows = [(e.onset, e.duration, e.trial_type, e.side) for e in motion.truth if e.trial_type in STATES]
            labels = pd.DataFrame(rows, columns=["onset", "duration", "trial_type", "side"])
            text = labels.to_csv(sep="\t", index=False, na_rep="n/a")
            walks.append(Walk(f"{person}-{name}", person, dict(motion.angles), labels, text))
            trials.setdefault(name, []).append(f"{person}-{name}")
    return walks, trials


def _some(frames: Mapping[str, Any], recordings: Sequence[str]) -> dict[str, Any]:
    return {
        "windows": frames["windows"][frames["windows"]["recording_id"].isin(recordings)],
        "states": frames["states"][frames["states"]["recording_id"].isin(recordings)],
        "labels": {name: sheet for name, sheet in frames["labels"].items() if name in recordings},
    }


def _walks_only(study: Study) -> Study:
    """Leave out what holds no walk and no bend."""
    kept = {name: r for name, r in study.recordings.items() if r.task in ("walk", "bend", "free")}
    return replace(study, recordings=kept)


def _run(study: Study, place: Path, word: str) -> dict[str, Any]:
    folder = place / f"{word}-run"
    folder.mkdir()
    return walk_frames(study, folder)


def recorded_trials(folder: Path, known: pd.DataFrame, place: Path) -> Iterator[tuple[str, Outcome, Outcome]]:
    """The people of the training data, each judged by a model of the others: as recorded, and through sensors."""
    people = sorted(set(known["participant_id"]))
    judges = {person: leaving_out(known, person) for person in people}
    yield "recorded walks, angles in degrees", *outcomes(_run(load_study(folder), place, "degrees"), judges)
    walks = read_walks(folder)
    for gain in GAINS:
        root = write_volts(place / f"gain-{gain:g}", walks, dict.fromkeys(people, gain))
        study = load_study(root)
        for bends in (True, False):
            frames = _run(study if bends else without_bends(study), place, f"gain-{gain:g}-{bends}")
            words = "with a bend calibration" if bends else "not calibrated"
            yield f"recorded walks in volts, {words}, gain {gain:g}", *outcomes(frames, judges)


def simulated_trials(known: pd.DataFrame, place: Path) -> Iterator[tuple[str, Outcome, Outcome]]:
    """Simulated people who limp by each mechanism, judged by the model of all four."""
    walks, trials = _simulated()
    frames = _run(load_study(write_degrees(place / "simulated", walks)), place, "simulated")
    judges = {None: leaving_out(known, None)}
    for name, recordings in trials.items():
        if name == "normal":
            continue
        mechanism, severity = name.rsplit("-", 1)
        words = f"simulated limp: {mechanism}, severity {'0.5' if severity == '05' else severity}"
        yield words, *outcomes(_some(frames, [*trials["normal"], *recordings]), judges)


def one_knee_trials(folder: Path, known: pd.DataFrame, place: Path) -> Iterator[tuple[str, Outcome, None]]:
    """The same people with one knee alone, each judged by a model of the others; the rule compares knees and is silent.

    All of them held the left knee stiff.
    """
    judges = {person: leaving_out(known, person) for person in sorted(set(known["participant_id"]))}
    study = load_study(folder)
    for knee, words in (("left_knee", "the stiff knee alone"), ("right_knee", "the other knee alone")):
        kept = {
            name: replace(recording, channels=tuple(c for c in recording.channels if c.tracked_point == knee))
            for name, recording in study.recordings.items()
        }
        frames = _run(replace(study, recordings=kept), place, knee)
        yield f"recorded walks, angles in degrees, {words}", outcomes(frames, judges)[0], None


def write_trials(folder: Path) -> None:
    """Write the trials of the card."""
    known, rows = read_known(folder), []
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        for trials in (
            recorded_trials(folder / "data", known, place),
            simulated_trials(known, place),
            one_knee_trials(folder / "data", known, place),
        ):
            for trial, *decided in trials:
                for word, outcome in zip(("model", "rule"), decided, strict=True):
                    found = {} if outcome is None else outcome.row()
                    rows.append({"number": len(rows) + 1, "trial": trial, "decided_by": word, **found})
    frame = pd.DataFrame(rows)
    frame["n_participants"] = frame.groupby("trial")["n_participants"].transform("max").astype(int)
    frame.loc[frame["decided_by"] == "rule", "log_loss"] = np.nan
    write_table(frame, TRIALS, folder)


def _labelled_rows(frames: Mapping[str, Any]) -> Rows:
    windows = labelled_windows(frames["windows"], frames["labels"], PARAMETERS)
    return gait_rows(windows, gait_task(), {}, PARAMETERS)


def _score(model: PersonClassifier, test: Rows, task: Task) -> tuple[float, float]:
    """Balanced accuracy of the windows, and their log loss as mean over people."""
    p = task.collapse(predict(model, test, task.columns))
    good = np.flatnonzero(np.isfinite(p).all(axis=1))
    truth, groups = task.reported_labels(test.y[good]), test.groups[good]
    said = np.array(task.reported, dtype=object)[np.argmax(p[good], axis=1)]
    codes = [task.reported.index(word) for word in truth]
    loss = float((log_loss(p[good, codes]) * person_weights(groups)).mean())
    return balanced_accuracy(said, truth, groups), loss


@one_thread
def learning_curves(frames: Mapping[str, Any], known: pd.DataFrame) -> pd.DataFrame:
    """Score on the people left out when a growing number of people of a study is learnt from, with and without ours.

    Returns
    -------
    DataFrame
        ``n`` people, ``alone`` draws of `DRAWS` whose labels could train alone; then balanced accuracy and log loss,
        means over all draws (the model of ours stands in where nothing could be trained, as it does in a run) and over
        the draws that could train alone, without (0) and with (1) ours; ``worst`` is the least accuracy of all draws.
    """
    rows, task = _labelled_rows(frames), gait_task()
    few = thin(rows.take(rows.labelled))
    patterns = list(available(few, task).values())
    inputs = max(patterns, key=lambda own: (patterns.count(own), len(own)))
    few, part = few.with_columns(inputs), restricted(task, inputs)
    ours = gait_rows(known.assign(participant_id="open-walks/" + known["participant_id"]), task, {}, PARAMETERS)
    ours = ours.take(ours.learn).with_columns(inputs)
    recipe = Recipe(("logistic_regression",), PARAMETERS.inner_folds, PARAMETERS.seed)
    standing_in = fit(ours, part, recipe)
    people = sorted(set(few.groups.tolist()))
    generator = np.random.default_rng(SEED)
    out = []
    for size in SIZES:
        scores, could = [], []
        for _ in range(DRAWS):
            chosen = set(generator.permutation(people)[:size].tolist())
            inside = np.array([g in chosen for g in few.groups], dtype=bool)
            train, test = few.take(inside), few.take(~inside)
            could.append(too_few(train, part) is None)
            alone = fit(train, part, recipe) if could[-1] else standing_in
            together = fit(stack(train, ours), part, recipe)
            scores.append([_score(alone, test, part), _score(together, test, part)])
        every, trained = np.array(scores), np.array(could)
        paired = every[trained].mean(axis=0) if trained.any() else np.full((2, 2), np.nan)
        out.append((size, int(trained.sum()), every.mean(axis=0), paired, every[:, :, 0].min(axis=0)))
    return pd.DataFrame(out, columns=["n", "alone", "every", "paired", "worst"])


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    return [f"| {' | '.join(cells)} |" for cells in (head, ["---"] * len(head), *rows)]


def _percent(value: float) -> str:
    return "n/a" if np.isnan(value) else f"{100 * value:.1f}"


def _cells(trial: str, word: str, outcome: Outcome) -> list[str]:
    row = outcome.row()
    loss = "n/a" if word != "model" else f"{row['log_loss']:.3f}"
    return [
        trial, word, str(row["n_participants"]), f"{row['balanced_accuracy']:.3f}", _percent(row["false_limping"]),
        _percent(row["recall"]), _percent(row["side_right"]), loss,
    ]  # fmt: skip


def _gain_words(curves: pd.DataFrame) -> str:
    """Say at which sizes the data of ours were worth something, over all draws."""

    def sizes(better: Callable[[Any], bool]) -> str:
        return ", ".join(str(r.n) for r in curves.itertuples() if better(r)) or "none"

    loss = sizes(lambda r: r.every[1, 1] < r.every[0, 1])
    right = sizes(lambda r: r.every[1, 0] > r.every[0, 0])
    return (
        f"Over all draws, probabilities were better (smaller log loss) with open-walks at these numbers of people: "
        f"{loss}; more windows were called right at these: {right}. Draws share people: small differences mean nothing."
    )


def page(known: pd.DataFrame, place: Path) -> str:
    """Write the page."""
    people = sorted(set(known["participant_id"]))
    own = outcomes(_run(load_study(MODEL / "data"), place, "own"), {p: leaving_out(known, p) for p in people})
    demo = _walks_only(load_study(ROOT / "demo_raw"))
    everyone = {None: leaving_out(known, None)}
    plain = _run(without_bends(demo), place, "demo-plain")
    bends = _run(demo, place, "demo-bends")
    cases = (
        ("recorded walks, unlabelled, each person left out", *own),
        ("demo, no label at all", *outcomes(plain, everyone)),
        ("demo, labels of bends alone", *outcomes(bends, everyone)),
    )
    shown = [_cells(case, word, o) for case, *both in cases for word, o in zip(("model", "rule"), both, strict=True)]
    curves = learning_curves(bends, known)

    def pair(values: Sequence[float]) -> str:
        return "n/a" if np.isnan(values).any() else f"{values[0]:.3f} / {values[1]:.3f}"

    curve = [
        [str(r.n), f"{r.alone} of {DRAWS}", pair(r.every[:, 0]), pair(r.worst), pair(r.every[:, 1]),
         pair(r.paired[:, 0]), pair(r.paired[:, 1])]
        for r in curves.itertuples()
    ]  # fmt: skip
    return "\n".join([
        "# The model that comes along, on studies without labels",
        "",
        "Written by `python tests/experiments/open_walks.py page docs/open-walks.md`. What the model is, whom it "
        "learnt from and what it cannot do stands in [its card](../workflow/models/open-walks/card.md), with trials on "
        "simulated sensors and on simulated limps of other mechanisms.",
        "",
        "## Model and rule side by side",
        "",
        "Labels were taken away before anything ran, and scored with afterwards. The people of the recorded walks are "
        "those whom the model learnt from, so each was judged by a model of the other three. The demo is simulated: "
        "features and families were chosen on other people of the same simulator, the model learnt from none of them. "
        "What the bench says of its sensors is left out here. Without labels of bends nothing is in degrees.",
        "",
        *_table(
            ("study", "decided by", "people", "balanced accuracy", "normal called limping, %", "limping found, %",
             "side right, %", "log loss"), shown,
        ),
        "",
        "Shares are of labelled time, mean over people; balanced accuracy is the mean of the parts of normal and of "
        "limping gait that were called so. Time that gait detection took for rest counts as wrong for both.",
        "",
        "## What its data are worth to a study with few labels",
        "",
        f"People of the demo drawn at random ({DRAWS} draws of each size), learnt from without and with the data of "
        "open-walks (`train_with: open-walks`); all others of the demo judged, by windows. Each cell: without / with. "
        "Where the labels drawn are too few to train (two people of each state), open-walks itself stands in, as in a "
        "run. The last two columns are of the draws alone that could be trained without. Logistic regression, "
        "calibrated.",
        "",
        *_table(
            ("people", "could train without", "balanced accuracy", "worst draw", "log loss",
             "balanced accuracy, could train", "log loss, could train"), curve,
        ),
        "",
        _gain_words(curves),
        "",
        "Both people and limps of the demo are simulated. Whether a study of patients gains as much, only its own "
        "`model/history.tsv` can say: there stands the model without, the model with, and the comparison of the two "
        "on the same people.",
    ]) + "\n"  # fmt: skip


def main(arguments: Sequence[str]) -> None:
    """Write trials, or the page."""
    what, where = arguments
    if what == "trials":
        write_trials(Path(where))
        return
    with tempfile.TemporaryDirectory() as place:
        Path(where).write_text(page(read_known(), Path(place)), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
