"""Figures as jobs draw them: each in one kind, readable at any number of people, within a page, cleared away."""

from __future__ import annotations

import json
from itertools import pairwise

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from labelling import frame
from strainstudy.io.frames import write_frame
from strainstudy.io.store import Trace, TraceWriter
from strainstudy.jobs import Progress
from strainstudy.records import Channel, Recording
from strainstudy.report.bench_figures import calibration_figure, draw_gains, draw_holds, held_angles
from strainstudy.report.kinds import KINDS, figure_kinds, tables_of
from strainstudy.report.names import FIGURES
from strainstudy.report.people_figures import _columns
from strainstudy.report.proof_figures import draw_parameters, parameter_rows
from strainstudy.report.recording_drawings import _COLUMNS, trace_path
from strainstudy.report.results import StudyTables
from strainstudy.stages import drawings, figures
from strainstudy.tables import write_table
from strainstudy.tables.angles import CALIBRATIONS
from strainstudy.tables.bends import KNEE_BENDS
from strainstudy.tables.recordings import ADDED, RECORDINGS
from strainstudy.tables.standing import CHANGE
from strainstudy.tables.validation import PARAMETERS

PAGE_PX, SCREEN_PX, DPI = 1068, 900, 110
"""Room for a figure in a window 1,300 px wide (less the list of sections and margins), a screen's height, the style's
resolution."""


def test_every_figure_of_the_study_is_drawn_by_one_kind_of_job():
    drawn = [name for names in KINDS.values() for name in names]
    assert sorted(drawn) == sorted(FIGURES)
    assert all(len(tables_of(kind)) > 0 for kind in KINDS)


def test_sensors_of_a_large_bench_are_drawn_in_several_jobs_each_once():
    bench = [Recording(f"b-{k}", "stretch", None, "", channels=(Channel("v", "sensor", "V", f"S{k}"),))
             for k in range(30)]  # fmt: skip
    kinds = figure_kinds(bench)
    of_sensors = [name for kind, names in kinds.items() if kind not in KINDS for name in names]
    assert sorted(of_sensors) == sorted(f"sensor_S{k}" for k in range(30))
    assert len(kinds) - len(KINDS) == 3
    assert list(figure_kinds([])) == list(KINDS)


def holds(n: int) -> pd.DataFrame:
    """Read holds of n people at three angles, with an error of 2 degrees."""
    rng = np.random.default_rng(3)
    nominal = np.tile([30.0, 60.0, 90.0], n)
    names = np.repeat([f"sub-{k:04d}_bend" for k in range(n)], 3)
    own = pd.DataFrame({"recording_id": names, "side": "left", "nominal": nominal})
    return own.assign(angle=nominal + np.clip(rng.normal(0.0, 2.0, nominal.size), -6.0, 6.0))


def artists(axis: plt.Axes) -> int:
    return len(axis.patches) + sum(len(line.get_xdata()) for line in axis.lines)


def test_holds_of_a_thousand_people_are_bands_and_no_more_ink_than_those_of_a_hundred():
    few, many, most = (plt.figure().subplots() for _ in range(3))
    assert draw_holds(few, holds(10)) == draw_holds(many, holds(100)) == draw_holds(most, holds(1000)) == []
    assert artists(most) == artists(many)
    assert not few.patches
    assert len(most.patches) == 2 * 3


@pytest.mark.parametrize("n", [10, 1000])
def test_a_hold_far_off_is_named_among_few_and_among_many(n):
    own = holds(n)
    own.loc[[4, 10], "angle"] += [30.0, -45.0]
    axis = plt.figure().subplots()
    assert draw_holds(axis, own) == ["sub-0003_bend", "sub-0001_bend"]
    assert {t.get_text() for t in axis.texts} == {"0003_bend", "0001_bend"}


def test_a_small_gain_is_named():
    gains = pd.DataFrame({"session_id": "ses-1", "tracked_point": "left_knee",
                          "participant_id": [f"sub-{k}" for k in range(50)],
                          "response_per_degree": 0.02 + 0.0001 * np.arange(50)})  # fmt: skip
    gains.loc[7, "response_per_degree"] = 0.001
    assert draw_gains(plt.figure().subplots(), gains) == ["sub-7"]


def test_a_hold_is_paired_with_the_bend_detected_during_it():
    bends = pd.DataFrame({"recording_id": "b", "side": ["left", "left"], "onset": [1.0, 10.0], "duration": 4.0,
                          "angle": [44.0, 91.0]})  # fmt: skip
    marks = frame((1.5, 3, "knee_bend", "left"), (10, 4, "knee_bend", "left"), (20, 4, "knee_bend", "left"))
    marks["value"] = [45.0, 90.0, 30.0]
    pairs = held_angles(bends, {"b": {"anna": marks}})
    assert pairs[["nominal", "angle"]].to_numpy().tolist() == [[45.0, 44.0], [90.0, 91.0]]


def test_a_hold_of_another_recording_than_a_bend_is_not_said_to_have_made_a_map(tmp_path):
    names = ["sub-01_bend", "sub-01_free"]
    recordings = pd.DataFrame({"recording_id": names, "task": ["bend", "free"]})
    write_table(recordings.reindex(columns=[*RECORDINGS.names, *(c.name for c in ADDED)]), RECORDINGS, tmp_path, ADDED)
    write_table(CALIBRATIONS.empty(), CALIBRATIONS, tmp_path)
    bends = pd.DataFrame({"recording_id": names, "side": "left", "onset": 1.0, "duration": 4.0, "angle": 44.0})
    write_table(bends.reindex(columns=KNEE_BENDS.names), KNEE_BENDS, tmp_path)
    marks = frame((1.5, 3, "knee_bend", "left"))
    marks["value"] = [45.0]
    labels = {name: {"anna": marks} for name in names}
    told = calibration_figure(StudyTables(tmp_path), labels, tmp_path / "figures").caption
    assert "n = 2 holds of 2 recordings; 1 is of bend recordings: they made the maps" in told
    assert "1 of other recordings made no map" in told
    del labels["sub-01_free"]
    told = calibration_figure(StudyTables(tmp_path), labels, tmp_path / "figures").caption
    assert "n = 1 holds of 1 recordings; they made the maps, so that this shows consistency, not accuracy" in told


def test_limits_wider_than_the_axis_are_named_and_percent_is_of_the_mean_from_labels():
    rows = [{"measure": m, "trial_type": None, "detected_from": "result tables", "n_pairs": 9, "n_participants": 4,
             "labelled_mean": 2.0, "bias": 0.1, "bias_low": 0.0, "bias_high": 0.2, "loa_lower": -w, "loa_upper": w}
            for m, w in (("cadence", 0.5), ("stride_time_mean", 3.0))]  # fmt: skip
    own = parameter_rows(pd.DataFrame(rows, columns=list(PARAMETERS.names)))
    np.testing.assert_allclose(own["bias"], 5.0)
    np.testing.assert_allclose(own["loa_upper"], [25.0, 150.0])
    assert draw_parameters(plt.figure().subplots(), own) == ["stride time, mean (n = 9)"]


def test_published_values_stand_in_two_columns_no_wider_than_the_page_and_half_as_tall():
    rows = [14.0, 12.0, 9.0, 17.0, 8.0, 19.0, 21.0, 11.0, 17.0, 12.0, 12.0, 9.0]
    boxes, width, height = _columns(rows)
    assert width * DPI <= PAGE_PX
    assert height * DPI <= 1.5 * SCREEN_PX
    assert len({left for left, *_ in boxes}) == 2
    for (left, top, _, high), (other, below, *_) in pairwise(boxes):
        assert other > left or below > top + high
    assert max(top + high for _, top, _, high in boxes) < height
    assert len({left for left, *_ in _columns([9.0])[0]}) == 1


def by_hand(values: np.ndarray, low: float, high: float, width: float, height: float) -> str:
    """Draw a trace column by column, sample by sample."""
    n, parts, last = values.size, [], None
    edges = np.linspace(0, n, min(_COLUMNS, n) + 1).astype(int).tolist()
    for a, b in pairwise(edges):
        known = [k for k in range(a, b) if np.isfinite(values[k])]
        if not known:
            last = None
            continue
        for k in sorted({min(known, key=lambda i: values[i]), max(known, key=lambda i: values[i])}):
            x = round(10.0 * width * k / max(n - 1, 1))
            y = round(10.0 * height * (1.0 - (float(np.clip(values[k], low, high)) - low) / (high - low)))
            if last is None:
                parts.append(f"M{x} {y}")
            elif (x, y) != last:
                parts.append(f"l{x - last[0]} {y - last[1]}")
            last = (x, y)
    return "".join(parts).replace(" -", "-")


@pytest.mark.parametrize("n", [1, 2, 7, 479, 480, 481, 1000, 5003])
def test_a_trace_is_what_drawing_it_sample_by_sample_gives(n):
    rng = np.random.default_rng(n)
    values = np.round(np.cumsum(rng.normal(size=n)), 1)
    values[rng.random(n) < 0.1] = np.nan
    values[n // 3 : n // 2] = np.nan
    assert trace_path(values, -3.0, 3.0, width=900, height=80) == by_hand(values, -3.0, 3.0, 900, 80)


def test_a_job_draws_its_figures_and_clears_away_what_the_study_no_longer_gives(tmp_path):
    progress, made = Progress(tmp_path / "log", "figures"), tmp_path / "made.json"
    where = {"signals": [], "results": tmp_path, "made": made, "progress": progress, "reference_rater": None}
    row = dict.fromkeys(CHANGE.names) | {
        "participant_id": "sub-01", "measure": "cadence", "change": 1.0, "minimal_detectable_change": 2.0,
    }  # fmt: skip
    write_table(pd.DataFrame([row], columns=list(CHANGE.names)), CHANGE, tmp_path)
    figures.run("standing", KINDS["standing"], [], **where)
    (drawn,) = json.loads(made.read_text())
    assert drawn["name"] == "change"
    assert {p.name for p in (tmp_path / "figures").iterdir()} == {f"change.{form}" for form in FIGURES["change"]}
    write_table(pd.DataFrame([row | {"change": 3.0}], columns=list(CHANGE.names)), CHANGE, tmp_path)
    figures.run("standing", KINDS["standing"], [], **where)
    # the page is made anew when only the image has changed
    assert json.loads(made.read_text())[0]["sha256"] != drawn["sha256"]
    write_table(CHANGE.empty(), CHANGE, tmp_path)
    figures.run("standing", KINDS["standing"], [], **where)
    assert json.loads(made.read_text()) == []
    assert list((tmp_path / "figures").iterdir()) == []


def test_a_batch_draws_its_recordings_counts_labels_of_no_sensor_and_clears_away_what_has_no_signal(tmp_path):
    label = tmp_path / "anna_events.tsv"
    label.write_text("onset\tduration\ttrial_type\tside\tvalue\n1\t0\tinitial_contact\tright\tn/a\n", encoding="utf-8")
    own = [Recording(name, "walk", None, "", participant_id="sub-01", labels={"anna": label}) for name in ("v", "w")]
    nothing = np.full(100, np.nan)
    columns = {"response": np.sin(np.arange(100) / 5.0), "angle": nothing}
    with TraceWriter(tmp_path / "signals.parquet", tuple(columns)) as writer:
        writer.write(Trace("w", "left_knee", "V", 50.0, columns))
        writer.write(Trace("x", "left_knee", "V", 50.0, columns))
    recordings = pd.DataFrame({"recording_id": ["v", "w"], "task": "walk", "duration": 2.0, "channels": "left_knee",
                               "status": ["rejected", "good"], "status_description": None})  # fmt: skip
    spans = pd.DataFrame({"recording_id": ["w"], "onset": [0.5], "duration": [0.0], "trial_type": ["initial_contact"],
                          "side": ["left"]})  # fmt: skip
    frames = {"recordings": recordings, "events": spans, "bouts": spans.iloc[:0].drop(columns="side")}
    paths = {name: tmp_path / f"{name}.parquet" for name in frames}
    for name, rows in frames.items():
        write_frame(paths[name], rows)
    old = tmp_path / "figures/recordings/v.svg"
    old.parent.mkdir(parents=True)
    old.write_text("of an earlier run", encoding="utf-8")
    drawings.run(
        own, reference_rater=None, frames=paths, signals=[tmp_path / "signals.parquet"], results=tmp_path,
        made=tmp_path / "made.json", progress=Progress(tmp_path / "log", "drawings"),
    )  # fmt: skip
    assert [p.name for p in old.parent.iterdir()] == ["w.svg"]
    first, second = json.loads((tmp_path / "made.json").read_text())
    assert (first["recording_id"], first["drawing"], first["unrecorded"]) == ("v", None, 0)
    assert second["unrecorded"] == 1
    assert second["labelled"] == ["initial_contact"]
    assert second["drawing"]["caption"].endswith("Detected: 1 initial contacts. Labelled by anna.")
