"""A results folder of invented people with one affected side or none: numbers that one can work out by hand."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from strainstudy.gait.verdict import VERDICT_COLUMNS
from strainstudy.io.frames import write_json
from strainstudy.io.store import Trace, TraceWriter
from strainstudy.paper.kinds import PAPER_KINDS, reads_signals
from strainstudy.records import Channel, Participant, Recording, Sensor
from strainstudy.report.results import StudyTables
from strainstudy.sections import SECTIONS
from strainstudy.settings import build
from strainstudy.stages import paper, paper_figures
from strainstudy.tables import write_table
from strainstudy.tables.angles import ANGLES, CALIBRATIONS
from strainstudy.tables.bends import KNEE_BENDS
from strainstudy.tables.classifier import BOUTS, EVIDENCE
from strainstudy.tables.events import STRIDES
from strainstudy.tables.gait import ANSWERS, GAIT
from strainstudy.tables.recordings import ADDED, RECORDINGS
from strainstudy.tables.sensors import BENCH_CYCLES, BENCH_STEPS, SENSOR_HEALTH, SENSOR_LOOPS, SENSORS
from strainstudy.tables.spec import Column, TableSpec, count, number, text
from strainstudy.tables.standing import CHANGE, GROUPS, NORMS, RETEST
from strainstudy.tables.swallows import SWALLOW_SUMMARY
from strainstudy.tables.validation import CONFUSION, EVENTS, PAIRS, PARAMETERS, RATERS, STATES

ENTRIES = Path(paper.__file__).parents[1] / "paper" / "references.bib"
QUANTITIES = ("response", "drift", "strain", "angle", "angle_low", "angle_high", "reference_angle")
CARRIED = (*ADDED, *(Column(n, "string", n, n) for n in ("group", "affected_side")))
CURVES = TableSpec(
    "tables/curves.tsv",
    "Curves",
    "Mean knee angle over the stride.",
    (
        *(text(name, name, name) for name in ("recording_id", "trial_type", "side")),
        count("percent", "percent", "percent"),
        *(number(name, name, name) for name in ("mean", "sd")),
        count("n", "n", "n"),
    ),
    ("recording_id", "trial_type", "side", "percent"),
)
PEOPLE = {
    "sub-1": ("stroke", "left"),
    "sub-2": ("stroke", "right"),
    "sub-3": ("stroke", "right"),
    "sub-4": ("control", "none"),
}
STATES_OF = {"stroke": "limping_gait", "control": "normal_gait"}


def rows_of(spec: TableSpec, rows: list[dict], extra: tuple[Column, ...] = ()) -> pd.DataFrame:
    """Rows with what is given; other numbers are 1, other words the column's name."""
    defaults = {"string": None, "number": 1.0, "integer": 7, "boolean": True}
    names = [(c.name, defaults[c.kind]) for c in (*spec.columns, *extra)]
    return pd.DataFrame([{**dict(names), **row} for row in rows], columns=[name for name, _ in names])


def walk_of(person: str, session: int = 1) -> str:
    return f"{person}_ses-{session}_walk"


def gait_rows() -> list[dict]:
    """Of sub-1, whose left is affected, every left measure is 2 and every right one 1; sub-2 and sub-3 turned round."""
    rows = []
    for person, (group, side) in PEOPLE.items():
        for session in (1, 2):
            row = {"recording_id": walk_of(person, session), "trial_type": STATES_OF[group], "warning": None,
                   "verdict": "gait"}  # fmt: skip
            for name in GAIT.names:
                if name.endswith(("_mean_left", "_mean_right")):
                    own = name.endswith(f"_{side}")
                    row[name] = (2.0 if own else 1.0) + 0.1 * list(PEOPLE).index(person) + 10.0 * (session - 1)
            rows.append(row)
    return rows


def write_tables(root: Path) -> None:
    def write(spec: TableSpec, rows: list[dict], extra: tuple[Column, ...] = ()) -> None:
        write_table(rows_of(spec, rows, extra), spec, root, extra)

    walks = [
        {"recording_id": walk_of(p, s), "participant_id": p, "session_id": f"ses-{s}", "task": "walk", "group": g,
         "affected_side": a, "status": "good", "duration": 60.0, "sampling_frequency": 100.0,
         "channels": "left_knee, right_knee"}
        for p, (g, a) in PEOPLE.items() for s in (1, 2)
    ]  # fmt: skip
    throat = {**walks[0], "recording_id": "sub-1_throat", "task": "swallow", "channels": "throat"}
    broken = {
        **throat,
        "recording_id": "sub-1_broken",
        "status": "rejected",
        "status_description": "ends < early & 5 %",
    }
    bench = {"recording_id": "bench", "session_id": "ses-1", "task": "stretch", "status": "good", "duration": 60.0,
             "sampling_frequency": 100.0}  # fmt: skip
    write(RECORDINGS, [*walks, throat, broken, bench], CARRIED)
    write(GAIT, gait_rows(), (*ANSWERS, *VERDICT_COLUMNS))
    rng = np.random.default_rng(3)
    percent = np.arange(101)
    curves = [
        {"recording_id": walk_of(p, s), "trial_type": STATES_OF[g], "side": side, "percent": int(k), "n": 30,
         "mean": float(60.0 * np.exp(-(((k - 72.0) / 10.0) ** 2)) + i)}
        for i, (p, (g, _)) in enumerate(PEOPLE.items()) for s in (1, 2) for side in ("left", "right") for k in percent
    ]  # fmt: skip
    write(CURVES, curves)
    agreed = [
        ("stride_time_mean", "normal_gait", "s", 1.1), ("stride_time_mean", "limping_gait", "s", 1.4),
        ("step_time_symmetry_index", "limping_gait", "percent", -20.0), ("swallow_duration", None, "s", 1.0),
    ]  # fmt: skip
    pairs, said = [], []
    for measure, state, unit, level in agreed:
        own = [
            {"recording_id": walk_of(p, s), "participant_id": p, "measure": measure, "trial_type": state, "unit": unit,
             "detected_from": "events", "labelled": level, "detected": level + 0.02 * float(rng.normal())}
            for p in PEOPLE for s in (1, 2)
        ]  # fmt: skip
        pairs += own
        limits = {f"loa_{end}{part}": sign * (0.05 + shift) for end, sign in (("lower", -1), ("upper", 1))
                  for part, shift in (("", 0.0), ("_low", -0.01), ("_high", 0.01))}  # fmt: skip
        said.append(
            {"measure": measure, "trial_type": state, "detected_from": "events", "unit": unit, "n_pairs": 8,
             "n_participants": 4, "bias": 0.0, "bias_low": -0.01, "bias_high": 0.01, **limits}
        )  # fmt: skip
    write(PAIRS, pairs)
    coarse = {"measure": "stride_time_cv", "trial_type": "normal_gait", "detected_from": "events", "unit": "percent",
              "n_pairs": 2, "validity": "cannot be validated with these labels", "from_rater_timing": 3.8}  # fmt: skip
    write(PARAMETERS, [*said, coarse])
    retest = [
        {"measure": m, "trial_type": s, "unit": u, "session_id": "ses-1", "later_session_id": "ses-2",
         "icc_agreement": 0.9, "icc_agreement_low": 0.4, "icc_agreement_high": 0.98}
        for m, s, u in (("cadence", "limping_gait", "1/min"), ("range_of_motion_mean_right", "normal_gait", "deg"))
    ]  # fmt: skip
    write(RETEST, retest)
    events = [
        {"recording_id": "pooled", "trial_type": "initial_contact", "side": "all", "criterion": "time", "tolerance": t,
         "f1": 0.9, "f1_low": 0.8, "f1_high": 0.95, "bias": 0.004, "loa_lower": -0.05, "loa_upper": 0.05}
        for t in (0.05, 0.1)
    ]  # fmt: skip
    write(EVENTS, events)
    write(RATERS, [{"trial_type": "initial_contact", "side": "all", "criterion": "time", "kappa": None}])
    write(STATES, [{"recording_id": "pooled", "trial_type": "all", "labelled_seconds": 600.0}])
    cells = [{"recording_id": "pooled", "labelled": a, "detected": b, "share": 0.9 if a == b else 0.1, "seconds": 60.0}
             for a in ("normal_gait", "limping_gait") for b in ("normal_gait", "limping_gait")]  # fmt: skip
    write(CONFUSION, cells)
    for name, spec in EVIDENCE.items():
        write(spec, [] if name != "reliability" else [{"predicted": 0.2, "observed": 0.1, "observed_low": 0.0}])
    fold = [{"predictor": p, "scope": "fold", "participant_id": who, "trial_type": "limping_gait", "recall": 0.8}
            for p in ("classifier", "majority") for who in PEOPLE]  # fmt: skip
    whole = {"predictor": "classifier", "scope": "pooled", "trial_type": "all", "balanced_accuracy": 0.9}
    write(EVIDENCE["classifier"], [*fold, whole])
    single = {"recording_id": walk_of("sub-1"), "tracked_point": "left_knee", "phase": "all", "rmse": 3.0,
              "angle_from": None, "angle_to": None}  # fmt: skip
    write(ANGLES, [single, {**single, "recording_id": "pooled", "tracked_point": None, "n_participants": 1}])
    write(CALIBRATIONS, [{"participant_id": "sub-1", "status": "fitted", "source": "holds"}])
    write(STRIDES, [{"recording_id": walk_of("sub-1"), "side": "left", "onset": 2.0, "trial_type": "limping_gait"}])
    write(KNEE_BENDS, [{"recording_id": "sub-1_bend", "side": "left"}])
    write(BOUTS, [{"recording_id": walk_of("sub-1"), "trial_type": "limping_gait", "prediction": "out_of_fold"}])
    swallows = {"recording_id": "sub-1_throat", "swallow_count": 4, "volume": None, "volume_per_swallow": None}
    write(SWALLOW_SUMMARY, [{**swallows, "prediction": "rule"}])
    loops = [{"sensor_id": "S_1", "strain": float(k), "loading": 0.1 * k, "unloading": 0.11 * k} for k in range(20)]
    write(SENSOR_LOOPS, loops)
    write(SENSORS, [{"sensor_id": "S_1"}])
    write(SENSOR_HEALTH, [{"sensor_id": "S_1", "measure": "rest_resistance", "value": 10_500.0}])
    write(BENCH_CYCLES, [{"sensor_id": "S_1", "kind": "stretch"}])
    write(BENCH_STEPS, [{"sensor_id": "S_1"}])
    source = {"measure": "cadence", "source_read": "yes"}
    names = ("Begg RK, Sparrow WA 2006, J Med Eng Technol 30:382-389", "Perry J, Burnfield JM 2010, Gait Analysis")
    write(NORMS, [{**source, "source": name} for name in names])
    write(GROUPS, [{"session_id": "ses-1", "measure": "cadence", "unit": "1/min", "group": "control",
                    "other_group": "stroke", "trial_type": "normal_gait"}])  # fmt: skip
    write(CHANGE, [{"participant_id": "sub-1", "error_basis": "sessions of the other people"}])


def write_signals(path: Path) -> None:
    """A knee that swings to 60 degrees once a second, beside a reference one degree lower."""
    time = np.arange(2000) / 100.0
    angle = 30.0 - 30.0 * np.cos(2 * np.pi * time)
    columns = dict.fromkeys(QUANTITIES, np.zeros(2000)) | {
        "angle": angle, "angle_low": angle - 5.0, "angle_high": angle + 5.0, "reference_angle": angle - 1.0,
    }  # fmt: skip
    path.parent.mkdir(parents=True, exist_ok=True)
    with TraceWriter(path, QUANTITIES) as writer:
        writer.write(Trace(walk_of("sub-1"), "left_knee", "V", 100.0, columns))


def card(**data: object) -> dict:
    variant = {"family": "logistic_regression", "setting": "C=3", "features": ["a", "b"]}
    return {"card": "strainstudy model", "variants": {"both_knees": variant}, "data": {"participants": 4, **data}}


class Said:
    """Keeps the last words of a job."""

    def say(self, words: str) -> None:
        """Keep them."""
        self.words = words


def recordings() -> list[Recording]:
    labels = {"anna": Path("anna_events.tsv"), "berta": Path("berta_events.tsv")}
    channels = (Channel("v", "left_knee", "V", "S_1"),)
    return [
        Recording(walk_of(p, s), "walk", Path(), "", p, f"ses-{s}", channels=channels, labels=labels)
        for p in PEOPLE
        for s in (1, 2)
    ]


def make_kit(root: Path, *, empty: bool = False) -> str:
    """Draw the figures of each kind and run the stage; return what it says."""
    people = {p: Participant(p, 60.0, "female", g, a) for p, (g, a) in PEOPLE.items()}
    sensors = {"S_1": Sensor("S_1", 3.3, 10e3, None, 10e3, rest_ohm=9800.0, gauge_length_mm=40.0)}
    said = Said()
    made = {kind: root / f"stages/paper_figures/{kind}.json" for kind in PAPER_KINDS}
    for kind, path in made.items():
        drawn_from = reads_signals(kind) and not empty
        paper_figures.run(
            kind,
            recordings() if drawn_from else [],
            signals=[root / "signals/people-0.parquet"] if drawn_from else [],
            results=root,
            made=path,
            progress=said,
        )
    paper.run(
        [] if empty else recordings(),
        {} if empty else people,
        {} if empty else sensors,
        settings={name: build(kind, {}) for name, kind in SECTIONS.items()},
        reference_rater=None if empty else "anna",
        figures=list(made.values()),
        entries=ENTRIES,
        results=root,
        progress=said,
    )
    return said.words


@pytest.fixture(scope="session")
def write_results() -> Callable[[Path], None]:
    """Give the function that fills a results folder, without the kit."""

    def write(root: Path) -> None:
        write_tables(root)
        write_signals(root / "signals/people-0.parquet")
        write_json(root / "model/card.json", card(windows={"normal_gait": 9}, labelled_time_s=600.0))

    return write


@pytest.fixture(scope="session")
def kit() -> Callable[..., str]:
    """Give the function that runs the stage on a results folder."""
    return make_kit


@pytest.fixture(scope="session")
def results(tmp_path_factory: pytest.TempPathFactory, write_results) -> Path:
    """A results folder with the kit in it, made once."""
    root = tmp_path_factory.mktemp("paper")
    write_results(root)
    make_kit(root)
    return root


@pytest.fixture(scope="session")
def angles(results: Path) -> dict[str, pd.DataFrame]:
    """What is drawn of angles beside a reference."""
    return paper_figures.angle_frames(StudyTables(results), recordings(), [results / "signals/people-0.parquet"])
