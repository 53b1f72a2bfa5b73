"""A whole invented study: the same bytes each time, honest faults, and nothing borrowed from a detector."""

import ast
import gzip
import hashlib
from pathlib import Path

import edfio
import nptdms
import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
import strainstudy
import strainstudy_simulator
from strainstudy.io.labels import read_labels
from strainstudy.study import load_study
from strainstudy_simulator.cohort import FAULTS, write_study
from strainstudy_simulator.people import draw_person, draw_unit, later, rng_for, settled, worn
from strainstudy_simulator.sensor import bridge_volts
from strainstudy_simulator.sessions import bend_take

DEMO = Path(__file__).parents[2] / "demo_raw"


def digests(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Three people, one session, half a minute of each."""
    return write_study(tmp_path_factory.mktemp("small") / "study", people=3, sessions=1, minutes=0.5)


@pytest.fixture(scope="module")
def study(small):
    return load_study(small)


def imported(package):
    """Modules that the files of a package import by their whole names, with the file."""
    for file in Path(package.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.level == 0:
                yield file.name, node.module
            elif isinstance(node, ast.Import):
                yield from ((file.name, alias.name) for alias in node.names)


def test_the_simulator_imports_no_detector_and_nothing_of_the_pipeline_imports_it():
    shared = {"strainstudy.io.atomic", "strainstudy.vocabulary"}
    ours = {(file, name) for file, name in imported(strainstudy_simulator) if name.split(".")[0] == "strainstudy"}
    assert ours
    assert {name for _, name in ours} <= shared
    assert not [found for found in imported(strainstudy) if found[1].split(".")[0] == "strainstudy_simulator"]


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others(small, tmp_path):
    again = write_study(tmp_path / "again", people=3, sessions=1, minutes=0.5)
    assert digests(small) == digests(again)
    other = digests(write_study(tmp_path / "other", people=1, sessions=1, minutes=0.5, seed=7, bench=False))
    walk = "raw/sub-01/sub-01_ses-01_walk.csv.gz"
    assert other[walk] != digests(small)[walk]


def test_adding_people_and_sessions_changes_nobody_elses_data(small, tmp_path):
    fewer = write_study(tmp_path / "fewer", people=2, sessions=1, minutes=0.5)
    before, after = digests(fewer), digests(small)
    kept = {name: digest for name, digest in before.items() if name.startswith(("raw/", "labels/"))}
    assert kept
    assert {name: after[name] for name in kept} == kept


def test_the_folder_passes_the_intake(study):
    assert {p.group for p in study.participants.values()} == {"stroke", "control"}
    assert {r.task for r in study.recordings.values()} == {"bend", "walk", "swallow", "free", "stretch", "tap"}
    assert all("rater1" in r.labels for r in study.recordings.values() if r.participant_id)
    assert not any(r.labels for r in study.recordings.values() if r.sensor_id)


def test_left_and_right_sensors_differ_in_gain(study):
    for name in "ABC":
        left, right = study.sensors[f"kneeL-{name}"], study.sensors[f"kneeR-{name}"]
        assert left.gauge_factor != right.gauge_factor


def test_a_person_limps_in_part_of_a_recording(small):
    """Person is not class: sub-03 limps at first and then walks to a beat without a limp."""
    labels = read_labels(small / "labels/sub-03_ses-01_walk/rater1_events.tsv")
    assert {"limping_gait", "normal_gait", "rest", "turn"} <= set(labels["trial_type"])
    assert set(labels.loc[labels["trial_type"] == "limping_gait", "side"]) == {"right"}


def test_bend_labels_carry_their_angles(small):
    labels = read_labels(small / "labels/sub-02_ses-01_bend/rater1_events.tsv")
    assert set(labels["value"]) == {0.0, 45.0, 90.0}
    assert set(labels["side"]) == {"left", "right"}


def test_a_goniometer_stands_beside_some_bends(small):
    frame = pd.read_csv(small / "raw/sub-01/sub-01_ses-01_bend.csv.gz")
    assert {"left_goniometer_deg", "right_goniometer_deg"} <= set(frame.columns)
    assert frame["left_goniometer_deg"].max() == pytest.approx(90, abs=6)
    assert np.corrcoef(frame["left_goniometer_deg"], frame["left_knee_V"])[0, 1] > 0.95


def test_the_gap_is_in_the_time_stamps(small):
    steps = np.diff(pd.read_csv(small / "raw/sub-03/sub-03_ses-01_walk.csv.gz")["time_s"])
    assert (steps > 0.015).sum() == 1
    assert steps.max() == pytest.approx(2.51, abs=0.001)


def test_edf_holds_the_samples_in_the_converters_range(small):
    edf = edfio.read_edf(small / "raw/sub-02/sub-02_ses-01_walk.edf")
    assert [s.label for s in edf.signals] == ["left_knee_mV", "right_knee_mV"]
    assert edf.signals[0].sampling_frequency == 100
    assert edf.signals[0].physical_dimension == "mV"
    assert 50 < np.ptp(edf.signals[0].data) < 2 * 2048


def test_tdms_states_rate_and_unit(small):
    channel = nptdms.TdmsFile.read(small / "raw/bench/kneeL-B_ses-01_tap.tdms")["bench"]["sensor_V"]
    assert channel.properties["wf_increment"] == 0.01
    assert channel.properties["unit_string"] == "V"


def test_every_fault_of_the_demo_is_there_and_told(tmp_path):
    folder = write_study(tmp_path / "all", people=12, sessions=2, minutes=0.35, tasks=("walk", "water"), bench=False)
    readme = (folder / "README.md").read_text(encoding="utf-8")
    for recording_id in FAULTS:
        if recording_id.endswith(("walk", "water")):
            assert f"`{recording_id}`" in readme
    clipped = pd.read_csv(folder / "raw/sub-05/sub-05_ses-01_walk.csv.gz")
    assert (clipped["right_knee_V"] >= 2.047).mean() > 0.005
    unplugged = pd.read_csv(folder / "raw/sub-08/sub-08_ses-02_walk.csv.gz")["right_knee_V"]
    middle = unplugged[int(0.56 * len(unplugged)) : int(0.74 * len(unplugged))]
    assert (middle == 2.047).all()
    with pytest.raises(EOFError), gzip.open(folder / "raw/sub-10/sub-10_ses-02_water.csv.gz") as stream:
        stream.read()
    european = (folder / "raw/sub-04/sub-04_ses-02_walk.csv").read_text(encoding="utf-8").splitlines()
    assert european[3].startswith("time_s;left_knee_V")
    assert "," in european[10]
    table = pq.read_table(folder / "raw/sub-06/sub-06_ses-01_walk.parquet")
    assert "time_s" not in table.column_names
    assert table.schema.metadata[b"sampling_frequency"] == b"100"
    labels = read_labels(folder / "labels/sub-12_ses-02_walk/rater1_events.tsv")
    assert (labels["trial_type"] == "labelled").sum() == 1
    second = list(folder.glob("labels/*/rater2_events.tsv"))
    first = list(folder.glob("labels/*/rater1_events.tsv"))
    assert 0.15 < len(second) / len(first) < 0.5


def test_the_reversed_bridge_falls_when_the_knee_bends():
    person = draw_person(8, 1)
    units = {p: worn(draw_unit("B", p, 1), person.participant_id, 1, 1) for p in ("left_knee", "right_knee")}
    upright, reversed_ = (bend_take(units, rng_for(1, "x"), mischief=m) for m in (None, "reversed"))
    left, turned = (next(c for c in t.channels if c.name == "left_knee").values for t in (upright, reversed_))
    assert np.corrcoef(left, turned)[0, 1] < -0.99


def test_long_studies_have_the_length_and_rate_asked_for(tmp_path):
    folder = write_study(
        tmp_path / "long", people=1, sessions=1, minutes=2, tasks=("free",), sampling_frequency=250,
        bench=False, faults=False,
    )  # fmt: skip
    frame = pd.read_csv(folder / "raw/sub-01/sub-01_ses-01_free.csv.gz")
    assert list(frame.columns) == ["time_s", "left_knee_V", "right_knee_V", "throat_V"]
    assert len(frame) >= 2 * 60 * 250
    assert np.diff(frame["time_s"]).mean() == pytest.approx(1 / 250)


def test_an_unknown_task_is_refused(tmp_path):
    with pytest.raises(ValueError, match="'hop'"):
        write_study(tmp_path, people=1, sessions=1, tasks=("hop",))


def test_a_tired_sensor_is_weaker_and_a_later_one_has_slipped():
    unit = draw_unit("C", "right_knee", 1)
    fresh, tired = (worn(unit, "sub-03", session, 1) for session in (0, 1))
    assert tired.model.gauge_factor < 0.8 * fresh.model.gauge_factor
    assert later(fresh, rng_for(1, "later")).sleeve.transfer <= fresh.sleeve.transfer


def test_rest_resistance_moves_in_a_session_and_the_trimmed_bridge_shows_it():
    """Spread over many people of 2.5 % (once) and 0.5 % (each recording), which add in quadrature."""
    unit = draw_unit("C", "left_knee", 1)
    assert unit.bridge.r2_ohm is None
    people = [f"sub-{k:03d}" for k in range(300)]
    moves = {
        task: np.array([settled(unit, p, 0, task, 1).model.rest_ohm for p in people]) / unit.model.rest_ohm - 1
        for task in ("walk", "bend-after")
    }
    assert moves["walk"].std() == pytest.approx(np.hypot(0.025, 0.005), rel=0.15)
    assert (moves["walk"] - moves["bend-after"]).std() == pytest.approx(0.005 * np.sqrt(2), rel=0.15)
    moved = settled(unit, people[0], 0, "walk", 1)
    rest = unit.model.rest_ohm
    assert bridge_volts(np.array([rest]), moved.bridge, moved.model.rest_ohm)[0] == pytest.approx(0, abs=1e-12)
    seen = bridge_volts(np.array([moved.model.rest_ohm]), moved.bridge, moved.model.rest_ohm)[0]
    assert np.sign(seen) == np.sign(moved.model.rest_ohm - rest)


def test_the_committed_demo_is_what_the_simulator_writes(tmp_path):
    """Samples within one step of the converter, so that another processor's last digit does no harm."""
    folder = write_study(tmp_path / "demo", people=1, sessions=1)
    names = sorted(p.relative_to(folder) for p in folder.glob("raw/**/*.csv.gz"))
    assert names
    for name in names:
        ours, theirs = pd.read_csv(folder / name), pd.read_csv(DEMO / name)
        assert list(ours.columns) == list(theirs.columns)
        np.testing.assert_allclose(ours.to_numpy(), theirs.to_numpy(), atol=0.011)
    for name in sorted(p.relative_to(folder) for p in folder.glob("labels/**/*.tsv")):
        assert (folder / name).read_text() == (DEMO / name).read_text()
    assert sum(p.stat().st_size for p in DEMO.rglob("*") if p.is_file()) < 15e6
