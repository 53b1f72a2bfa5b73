"""A results folder of two invented people and one sensor, made of described tables and stored signals."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from strainstudy.bench.characterise import BenchRecording, characterise
from strainstudy.gait.verdict import VERDICT_COLUMNS
from strainstudy.io.atomic import write_text
from strainstudy.io.frames import write_json
from strainstudy.io.store import Trace, TraceWriter, iter_traces
from strainstudy.report.content import Picture
from strainstudy.report.figures import Sources, draw_figure
from strainstudy.report.kinds import KINDS, tables_of
from strainstudy.report.names import recording_file
from strainstudy.report.recordings import NOTHING, Drawings, detected_in, drawing_row, drawings_in, recording_picture
from strainstudy.report.results import StudyTables, records
from strainstudy.tables import write_table
from strainstudy.tables.classifier import BOUTS, EVIDENCE
from strainstudy.tables.events import EVENTS
from strainstudy.tables.families import PREDICTION
from strainstudy.tables.faults import FAULTS
from strainstudy.tables.gait import ANSWERS, GAIT
from strainstudy.tables.recordings import ADDED, RECORDINGS
from strainstudy.tables.sensors import BENCH_CYCLES, BENCH_STEPS, SENSOR_CURVES, SENSOR_HEALTH, SENSOR_LOOPS, SENSORS
from strainstudy.tables.spec import Column, TableSpec
from strainstudy.tables.standing import CHANGE, NORMS
from strainstudy.tables.swallows import SWALLOW_SUMMARY
from strainstudy.tables.throat import THROAT_EVIDENCE
from strainstudy.tables.validation import CONFOUNDERS, CONFUSION, RATERS, SHAPES
from strainstudy.tables.validation import EVENTS as AGREEMENT
from strainstudy_simulator.bench import run_stage, standard_program
from strainstudy_simulator.sensor import SensorModel, resistance

QUANTITIES = ("response", "drift", "strain", "angle", "angle_low", "angle_high", "reference_angle")
CARRIED = (*ADDED, *(Column(n, "string", n, n) for n in ("group", "affected_side")))


def rows_of(spec: TableSpec, rows: list[dict], extra: tuple[Column, ...] = ()) -> pd.DataFrame:
    """Rows with what is given; numbers that are not given count up, words are the column's name."""
    table = []
    for k, row in enumerate(rows):
        default = {}
        for column in (*spec.columns, *extra):
            by_kind = {"string": column.name, "number": 0.5 + 0.01 * k, "integer": 7 + k, "boolean": k % 2 == 0}
            default[column.name] = by_kind[column.kind]
        table.append({**default, **row})
    return pd.DataFrame(table, columns=[c.name for c in (*spec.columns, *extra)])


def write_throat_evidence(
    root: Path,
    *,
    shapes: tuple[str, ...] = ("one_hump", "ringing", "two_phase"),
    confounders: tuple[str, ...] = ("all", "artefact", "cough", "head_movement", "speech"),
    classes: tuple[str, ...] = ("cough", "head_movement", "other", "speech", "swallow"),
) -> None:
    """Tables on swallows against labels, sorted by name as the pipeline writes them; empty for no words."""
    swallow = {"trial_type": "swallow", "side": "all"}
    scored = [
        {**swallow, "response_shape": shape, "criterion": criterion, "tolerance": tolerance, "n_labelled": 40 + 10 * k,
         "f1": 0.9, "f1_low": 0.8, "f1_high": 1.0, "n_participants": 3 + k, "reading": f"Reading of {shape}."}
        for criterion, tolerance in (("centre", 0.25), ("centre", 0.5), ("overlap", 0.5))
        for k, shape in enumerate(shapes)
    ]  # fmt: skip
    write_table(rows_of(SHAPES, scored), SHAPES, root)
    taken = [
        {"recording_id": recording, "confounder": name, "minutes": 2.5, "n_false_swallows": k, "n_participants": 1 + k,
         "false_per_minute": 0.4 * k, "false_per_minute_low": 0.0, "false_per_minute_high": 2.0 + k}
        for k, name in enumerate(confounders)
        for recording in ("pooled", "sub-02_swallow")
    ]  # fmt: skip
    write_table(rows_of(CONFOUNDERS, taken), CONFOUNDERS, root)
    scores = [
        {"predictor": predictor, "scope": "pooled", "participant_id": None, "trial_type": name,
         "includes": None, "n_called": 0 if predictor == "majority" and name != "swallow" else 20,
         "balanced_accuracy": 0.7 if name == "all" else None, "recall": None if name == "all" else 0.6}
        for predictor in ("classifier", "majority", "without_labels")
        for name in ("all", *classes)
        if classes and not (predictor == "without_labels" and name not in ("all", "swallow"))
    ]  # fmt: skip
    write_table(rows_of(THROAT_EVIDENCE["throat_classifier"], scores), THROAT_EVIDENCE["throat_classifier"], root)
    cells = [
        {
            "label": a,
            "called": b,
            "includes": None,
            "n": 30 if a == b else 1,
            "share": 30 / 34 if a == b else 1 / 34,
            "n_participants": 2,
        }
        for a in classes
        for b in classes
    ]
    write_table(rows_of(THROAT_EVIDENCE["throat_confusion"], cells), THROAT_EVIDENCE["throat_confusion"], root)


@pytest.fixture(scope="session")
def throat_evidence():
    """Give the function that writes those tables into a results folder."""
    return write_throat_evidence


def store(path: Path, traces: list[Trace]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with TraceWriter(path, QUANTITIES) as writer:
        for trace in traces:
            writer.write(trace)


def trace(
    recording: str, point: str, values: np.ndarray, fs: float = 50.0, *, units: str = "V", angle: bool = False
) -> Trace:
    nothing = np.full(values.size, np.nan)
    columns = dict.fromkeys(QUANTITIES, nothing) | {"response": values}
    if angle:
        columns["angle"] = 60.0 * values
    return Trace(recording, point, units, 50.0, columns)


@pytest.fixture(scope="session")
def labels() -> dict[str, dict[str, pd.DataFrame]]:
    marks = pd.DataFrame(
        [
            (0.0, 5.0, "rest", None, np.nan),
            (5.0, 15.0, "limping_gait", "left", np.nan),
            (6.1, 0.0, "initial_contact", "left", np.nan),
            (7.1, 0.0, "initial_contact", "right", np.nan),
        ],
        columns=["onset", "duration", "trial_type", "side", "value"],
    )
    return {"sub-01_walk": {"rater<1>": marks, "rater2": marks.iloc[:2]}}


@pytest.fixture(scope="session")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the folder once for all tests."""
    root = tmp_path_factory.mktemp("results")
    time = np.arange(1000) / 50.0
    wave = np.clip(np.sin(2 * np.pi * time), 0, None)
    wave[300:320] = np.nan
    store(
        root / "signals/people-0.parquet",
        [
            trace("sub-01_walk", "left_knee", wave, angle=True),
            trace("sub-01_walk", "right_knee", np.roll(wave, 25), angle=True),
            trace("sub-02_swallow", "throat", 0.1 * wave, units="a.u."),
        ],
    )
    rng = np.random.default_rng(0)
    run = run_stage(standard_program(0.3), 50.0, rng)
    response = resistance(run.strain, 50.0, SensorModel(), rng) / SensorModel().rest_ohm - 1
    response += 1e-3 * rng.standard_normal(response.size)
    store(
        root / "signals/bench.parquet",
        [
            trace("bench-1", "sensor", response),
            trace("bench-1", "reference_strain", run.reference_percent, units="percent"),
        ],
    )
    bench = characterise([BenchRecording("bench-1", "stretch", response, 50.0, run.reference_percent / 100)])
    for spec, frame in (
        (SENSORS, pd.DataFrame([bench.row])),
        (SENSOR_CURVES, bench.curves),
        (SENSOR_LOOPS, bench.loops),
        (BENCH_CYCLES, bench.cycles),
        (BENCH_STEPS, bench.steps),
    ):
        write_table(frame.assign(sensor_id="S<1>"), spec, root)

    people = [("sub-01_walk", "sub-01", "walk", "stroke", "left_knee, right_knee"),
              ("sub-02_swallow", "sub-02", "swallow", "control", "throat")]  # fmt: skip
    recordings = [
        {"recording_id": r, "participant_id": p, "session_id": "ses-1", "task": t, "duration": 20.0, "status": "good",
         "status_description": None, "sensor_flag": None, "group": g, "channels": c}
        for r, p, t, g, c in people
    ]  # fmt: skip
    recordings.append(
        {"recording_id": "bench-1", "participant_id": None, "session_id": "ses-1", "task": "stretch", "duration": 140.0,
         "status": "degraded", "status_description": "two & a half seconds are <missing>", "group": None}
    )  # fmt: skip
    write_table(rows_of(RECORDINGS, recordings, CARRIED), RECORDINGS, root, CARRIED)
    fault = {
        "recording_id": recordings[-1]["recording_id"],
        "fault": "missing samples",
        "remedy": "look at the recorder",
    }
    write_table(rows_of(FAULTS, [fault | {"description": "two & a half seconds are <missing>"}]), FAULTS, root)
    contact = {"recording_id": "sub-01_walk", "trial_type": "initial_contact", "duration": 0.0}
    events = [{**contact, "onset": 6.0 + 0.5 * k, "side": ("left", "right")[k % 2]} for k in range(20)]
    events.append(
        {"recording_id": "sub-02_swallow", "trial_type": "swallow", "onset": 4.0, "duration": 1.0, "side": None}
    )
    write_table(rows_of(EVENTS, events), EVENTS, root)
    bouts = [
        {"recording_id": "sub-01_walk", "onset": 0.0, "duration": 5.0, "trial_type": "rest"},
        {"recording_id": "sub-01_walk", "onset": 5.0, "duration": 15.0, "trial_type": "normal_gait"},
    ]
    write_table(rows_of(BOUTS, bouts), BOUTS, root)
    gait = {
        "recording_id": "sub-01_walk", "trial_type": "normal_gait", "cadence": 110.0, "cadence_low": 108.0,
        "cadence_high": 112.0, "warning": None, "verdict": "cannot be told apart without a bend calibration",
        "verdict_side": None,
    }  # fmt: skip
    added = (*ANSWERS, PREDICTION, *VERDICT_COLUMNS)
    write_table(rows_of(GAIT, [gait], added), GAIT, root, added)
    summary = {"recording_id": "sub-02_swallow", "swallow_count": 1, "rate": 3.0, "rate_low": 0.1, "rate_high": 16.7}
    write_table(rows_of(SWALLOW_SUMMARY, [summary]), SWALLOW_SUMMARY, root)
    health = [
        {"sensor_id": "S<1>", "measure": "noise", "use": k, "value": 1.0 + 0.1 * k, "centre": 1.0} for k in (1, 2)
    ]
    write_table(rows_of(SENSOR_HEALTH, health), SENSOR_HEALTH, root)

    for name, spec in EVIDENCE.items():
        row = {"predictor": "classifier", "scope": "pooled", "trial_type": "all"}
        left_out = row | {"scope": "fold", "participant_id": "sub-01"}
        write_table(rows_of(spec, [row, left_out] if name == "classifier" else [{}]), spec, root)
    pooled = {"recording_id": "pooled", "trial_type": "initial_contact", "side": "all", "criterion": "time", "f1": 0.85}
    write_table(rows_of(AGREEMENT, [pooled]), AGREEMENT, root)
    cells = [{"recording_id": "pooled", "labelled": a, "detected": b, "share": 0.5, "seconds": 60.0}
             for a in ("normal_gait", "limping_gait") for b in ("normal_gait", "limping_gait")]  # fmt: skip
    write_table(rows_of(CONFUSION, cells), CONFUSION, root)
    write_throat_evidence(root)
    write_table(rows_of(RATERS, [{"trial_type": "swallow", "criterion": "overlap"}]), RATERS, root)
    norms = [{"participant_id": p, "session_id": "ses-1", "measure": "cadence", "unit": "1/min", "value": 100.0 + k,
              "published_low": 98.0, "published_high": 138.0, "source": s, "trial_type": "normal_gait"}
             for k, p in enumerate(("sub-01", "sub-02")) for s in ("Source A", "Source B")]  # fmt: skip
    write_table(rows_of(NORMS, norms), NORMS, root)
    change = [{"participant_id": p, "measure": "cadence", "change": c, "minimal_detectable_change": 2.0,
               "exceeds": c > 2}
              for p, c in (("sub-01", 1.0), ("sub-02", 3.0))]  # fmt: skip
    write_table(rows_of(CHANGE, change), CHANGE, root)
    return root


def draw_everything(results: Path, labels, out: Path) -> tuple[dict[str, Picture], Drawings]:
    """Draw what the jobs of a run draw, each kind of figure from the tables that it has declared."""
    figures = out / "figures"
    tables = StudyTables(results)
    frames = [tables(spec) for spec in (EVENTS, BOUTS)]
    traces = [t for path in sorted((results / "signals").glob("*.parquet")) for t in iter_traces(path)]
    points: dict[str, dict[str, Trace]] = {}
    for own in traces:
        points.setdefault(own.recording_id, {})[own.tracked_point] = own
    pictures = {}
    for kind, names in {**KINDS, "bench-1": ("sensor_S<1>",)}.items():
        sources = Sources(StudyTables(results, tables_of(kind)), figures, labels, points)
        found = [draw_figure(name, sources) for name in names]
        pictures |= {picture.name: picture for picture in found if picture is not None}
    made = []
    for row in records(tables.recordings):
        name = str(row["recording_id"])
        detected = detected_in(*frames, [name]).get(name, NOTHING)
        picture = (
            None
            if row["task"] == "stretch"
            else recording_picture(row, points.get(name, {}), detected, labels.get(name, {}))
        )
        if picture is not None:
            write_text(figures / recording_file(name), picture.svg)
        made.append(drawing_row(name, picture, labels.get(name, {}), 0))
    write_json(out / "drawings.json", made)
    return pictures, drawings_in([out / "drawings.json"], figures)


@pytest.fixture(scope="session")
def drawn():
    """Give the function that draws everything."""
    return draw_everything
