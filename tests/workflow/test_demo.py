"""The whole job on the demo study: every table of the interface, filled, described and consistent."""

import hashlib
import html
import html.parser
import json
import re
from pathlib import Path
from typing import ClassVar

import numpy as np
import pandas as pd
import pyarrow.dataset as ds
import pytest
from frictionless import Package
from strainstudy.io.readers import read_raw
from strainstudy.provenance.verify import compare
from strainstudy.report.fault_list import FAULTS_CAPTION
from strainstudy.stages.labels import labels_of
from strainstudy.study import load_study
from strainstudy.tables import read_described
from strainstudy.vocabulary import GAIT_STATES
from strainstudy_simulator.cohort import FAULTS
from strainstudy_simulator.people import RAIL_V, TIRED_SENSOR

ROOT = Path(__file__).parents[2]
TABLES = {
    "tables/recordings.tsv": "recording_id participant_id session_id task sampling_frequency duration missing_fraction "
    "gap_count clipped_fraction status status_description",
    "tables/faults.tsv": "recording_id participant_id session_id tracked_point sensor_id fault description remedy",
    "tables/events.tsv": "recording_id onset duration trial_type side value score",
    "tables/bouts.tsv": "recording_id onset duration trial_type probability limping_side prediction",
    "tables/strides.tsv": "recording_id side onset stride_time step_time swing_peak range_of_motion phase trial_type",
    "tables/gait.tsv": "recording_id trial_type cadence stride_time_mean stride_time_cv coordination_index",
    "tables/swallows.tsv": "recording_id onset duration amplitude rise_time interval",
    "tables/knee_bends.tsv": "recording_id side onset duration angle angle_low angle_high creep",
    "tables/sensors.tsv": "sensor_id gauge_factor gauge_factor_low gauge_factor_high",
    "tables/change.tsv": "participant_id measure change",
    "tables/label_next.tsv": "recording_id onset duration",
    "validation/events.tsv": "trial_type n_labelled n_detected true_positive false_positive false_negative precision "
    "recall f1 f1_low f1_high tolerance bias sd",
    "validation/raters.tsv": "trial_type",
    "validation/parameters.tsv": "bias",
    "validation/classifier.tsv": "predictor precision recall f1",
    "validation/norms.tsv": "participant_id session_id measure value source source_read",
}


@pytest.mark.parametrize("name", TABLES)
def test_the_table_of_the_interface_is_there_with_rows(demo, name):
    table = read_described(demo / name)
    assert set(TABLES[name].split()) <= set(table.columns)
    assert len(table) > 0


def test_every_table_has_a_sidecar_that_describes_its_columns(demo):
    for path in sorted(demo.rglob("*.tsv")):
        header = path.read_text(encoding="utf-8").split("\n", 1)[0].split("\t")
        fields = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["fields"]
        assert [field["name"] for field in fields] == header, path
        assert all(field["title"] and field["description"] for field in fields), path


def test_signals_are_one_dataset_with_a_row_for_each_sample_and_tracked_point(demo):
    table = ds.dataset(demo / "signals", format="parquet")
    wanted = {"recording_id", "time", "tracked_point", "response", "angle", "angle_low", "angle_high"}
    assert wanted <= set(table.schema.names)
    one = table.to_table(filter=ds.field("recording_id") == "sub-01_ses-01_walk").to_pandas()
    assert sorted(one["tracked_point"].unique()) == ["left_knee", "right_knee"]
    assert not one.duplicated(["tracked_point", "time"]).any()
    known = one.dropna(subset=["angle", "angle_low", "angle_high"])
    assert len(known) > 0
    assert (known["angle_low"] <= known["angle"]).all()
    assert (known["angle"] <= known["angle_high"]).all()


def test_the_faults_of_the_demo_are_found_and_stop_nothing(demo):
    """The faults are those that demo_raw/README.md names."""
    table = read_described(demo / "tables/recordings.tsv").set_index("recording_id")
    assert table.loc["sub-10_ses-02_water", "status"] == "rejected"
    assert "missing" in table.loc["sub-03_ses-01_walk", "status_description"]
    assert "jumps" in table.loc["sub-05_ses-01_walk", "status_description"]
    assert "unplugged" in table.loc["sub-08_ses-02_walk", "status_description"]
    assert table.loc["sub-04_ses-02_walk", "status"] == "good"
    assert {"edf", "parquet", "tdms"} <= set(table["file_format"].dropna().str.split().str[0])


WORD_OF_MISCHIEF = {
    "gap": "missing samples",
    "clipped": "jump",
    "unplugged": "no signal",
    "reversed": "wired in reverse",
    "jittered": "time stamps",
    "corrupt": "unreadable",
}
RAILED = 0.001
"""Share of samples at the rail from which a gain is too high: ingest.degraded_clipped."""


def _railed() -> set[str]:
    """Recordings of the demo whose converter met its rail, read from the raw files."""
    study = load_study(ROOT / "demo_raw")
    found = set()
    for name, recording in study.recordings.items():
        if WORD_OF_MISCHIEF.get(FAULTS.get(name, "")) in ("unreadable", "jump", "no signal"):
            continue
        raw = read_raw(recording.path, [channel.name for channel in recording.channels], 10**9)
        for channel in recording.channels:
            if channel.units in ("V", "mV"):
                volts = raw.channels[channel.name].absolute * (0.001 if channel.units == "mV" else 1.0)
                if np.mean(np.abs(volts[np.isfinite(volts)]) > 0.998 * RAIL_V) > RAILED:
                    found.add(name)
    return found


def _table(page: str, caption: str) -> list[dict[str, str]]:
    """Rows of the page's table under a caption."""
    (table,) = (part for part in re.findall(r"<table>.*?</table>", page, re.DOTALL) if caption in part)
    rows = [
        [
            html.unescape(re.sub(r"<[^>]+>", "", cell)).strip()
            for cell in re.findall(r"<t[hd].*?</t[hd]>", row, re.DOTALL)
        ]
        for row in re.findall(r"<tr>.*?</tr>", table, re.DOTALL)
    ]
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


def test_the_list_of_faults_in_the_report_is_the_list_of_faults_that_the_demo_was_given(demo):
    """The simulator's cohort knows what it did; which converter met its rail stands in the raw files."""
    rows = _table((demo / "report.html").read_text(encoding="utf-8"), FAULTS_CAPTION)
    told = sorted((row["recording"], row["sensor"], row["fault"]) for row in rows)
    given = [(name, WORD_OF_MISCHIEF[mischief]) for name, mischief in FAULTS.items()]
    given += [(name, "saturated") for name in _railed()]
    given.append(("n/a", "sensor changed"))
    assert [(recording, fault) for recording, _, fault in told] == sorted(given)
    assert {sensor for recording, sensor, _ in told if recording == "n/a"} == {TIRED_SENSOR}
    assert all(row["what to do"] not in ("", "n/a") for row in rows)
    reversed_ones = [row for row in rows if row["fault"] == "wired in reverse"]
    words = "set polarity -1 for sensor kneeL-B as sub-09 wore it in session ses-02 and nowhere else"
    assert all(words in row["what to do"] for row in reversed_ones)


def test_no_angle_of_the_demo_is_one_that_no_knee_has(demo):
    table = ds.dataset(demo / "signals", format="parquet").to_table(columns=["angle", "angle_low", "angle_high"])
    for name in table.column_names:
        values = table[name].to_numpy()
        assert np.nanmin(values) >= -20, name
        assert np.nanmax(values) <= 160, name
    for path, columns in {
        "tables/events.tsv": ("value",),
        "tables/strides.tsv": ("swing_peak",),
        "tables/knee_bends.tsv": ("angle", "angle_low", "angle_high"),
    }.items():
        found = read_described(demo / path)[list(columns)].to_numpy(dtype=float)
        assert np.nanmin(found) >= -20, path
        assert np.nanmax(found) <= 160, path


def test_a_bridge_wired_in_reverse_flags_nobody_and_changes_nobody(demo):
    health = read_described(demo / "tables/sensor_health.tsv")
    assert not health.loc[health["sensor_id"] == "kneeL-B", "flagged"].astype(bool).any()
    recordings = read_described(demo / "tables/recordings.tsv")
    flagged = recordings[recordings["sensor_flag"].notna()]
    assert flagged["sensor_flag"].str.startswith(f"sensor {TIRED_SENSOR}:").all()
    calibrations = read_described(demo / "tables/calibrations.tsv")
    assert set(calibrations["polarity"].dropna()) == {1}


def test_a_sensor_that_changed_before_the_second_session_flags_that_session_and_has_no_gauge_factor_of_both(demo):
    """The simulator's cohort halves the gain of `TIRED_SENSOR` before the second session."""
    recordings = read_described(demo / "tables/recordings.tsv")
    flagged = recordings[recordings["sensor_flag"].notna()]
    assert set(flagged["session_id"]) == {"ses-02"}
    channels = pd.read_csv(ROOT / "demo_raw/channels.tsv", sep="\t")
    worn = channels.loc[channels["sensor_id"] == TIRED_SENSOR, "recording_id"]
    of_session = {name for name in worn if "ses-02" in name}
    assert set(flagged["recording_id"]) == of_session | {f"{TIRED_SENSOR}_ses-02_{task}" for task in ("stretch", "tap")}
    sensor = read_described(demo / "tables/sensors.tsv").set_index("sensor_id").loc[TIRED_SENSOR]
    assert pd.isna(sensor["gauge_factor"])
    each = re.findall(rf"[\d.]+ \([\d.]+ to [\d.]+\) in {TIRED_SENSOR}_(ses-\d+)", sensor["gauge_factor_note"])
    assert each == ["ses-01", "ses-02"]


def test_gait_numbers_obey_their_identities(demo):
    """Cadence = 120 / stride time; stance and swing make the stride (Perry & Burnfield 2010)."""
    gait = read_described(demo / "tables/gait.tsv")
    np.testing.assert_allclose(gait["cadence"] * gait["stride_time_mean"], 120, rtol=1e-4)
    strides = read_described(demo / "tables/strides.tsv")
    np.testing.assert_allclose(strides["stance_time"] + strides["swing_time"], strides["stride_time"], atol=3e-4)


def test_no_contact_of_a_steady_stride_is_one_that_the_rater_put_elsewhere(demo):
    """A contact that the rater missed has its next label a stride away; a wrong one lies between."""
    strides = read_described(demo / "tables/strides.tsv")
    steady = strides[strides["steady"].astype(bool)]
    study = load_study(ROOT / "demo_raw")
    compared = 0
    for name, own in steady.groupby("recording_id"):
        labels = labels_of([study.recordings[name]]).get(name, {})
        marks = labels.get("rater1", pd.DataFrame(columns=["onset", "trial_type", "side"]))
        for side, rows in own.groupby("side"):
            known = marks.loc[(marks["trial_type"] == "initial_contact") & (marks["side"] == side), "onset"].to_numpy()
            for onset, lasted in rows[["onset", "stride_time"]].to_numpy():
                for found in (onset, onset + lasted):
                    if len(known) and known.min() <= found <= known.max():
                        off = np.abs(known - found).min()
                        assert off < 0.15 or off > 0.6 * lasted, (name, side, found)
                        compared += 1
    assert compared > 3000


def test_every_verdict_on_sensor_or_gait_follows_from_the_numbers_of_its_row(demo):
    """By the rule that docs/method-sensor.md gives a reader, with the limits of config/config.yaml."""
    gait = read_described(demo / "tables/gait.tsv")
    seen = set()
    for row in gait.to_dict("records"):
        verdict, evidence = row["verdict"], row["verdict_evidence"]
        seen.add(verdict)
        step = [row[f"step_time_symmetry_index{end}"] for end in ("", "_low", "_high")]
        knee = [row[f"range_of_motion_symmetry_index{end}"] for end in ("", "_low", "_high")]
        for quoted in re.findall(r"step time (\S+) % \(95 % (\S+) to ([^;]+);", evidence):
            assert [float(text) for text in quoted] == pytest.approx(step, rel=0.01), row["recording_id"]
        together = row["gain_ratio"] * row["amplitude_ratio_calibrated"] / row["amplitude_ratio_recorded"]
        fits = abs(200 * (together - 1) / (together + 1)) <= 8
        assert fits == ("not what was recorded" not in evidence), row["recording_id"]
        whole = step[1] > 8 or step[2] < -8
        assert not whole or verdict in ("gait", "gait and sensor")
        if verdict in ("no asymmetry found", "sensor"):
            assert abs(step[0]) <= 8
            assert abs(knee[0]) <= 16
            assert fits, row["recording_id"]
            assert row["step_time_settled_from"] == pytest.approx(
                8 + max(step[0] - step[1], step[2] - step[0]), abs=0.1
            )
        elif abs(step[0]) > 8 and not whole:
            assert verdict != "not certain" or "reaches back" in evidence
    assert {"gait and sensor", "sensor", "no asymmetry found", "not certain"} <= seen


def test_bouts_do_not_overlap_and_labelled_people_are_predicted_out_of_fold(demo):
    bouts = read_described(demo / "tables/bouts.tsv")
    for _, own in bouts.groupby("recording_id"):
        end = (own["onset"] + own["duration"]).to_numpy()
        assert (own["onset"].to_numpy()[1:] >= end[:-1] - 2e-3).all()
    walked = bouts[bouts["trial_type"].isin(GAIT_STATES)]
    assert set(walked["prediction"]) == {"out_of_fold"}
    assert set(read_described(demo / "tables/gait.tsv")["prediction"]) == {"out_of_fold"}
    strides = read_described(demo / "tables/strides.tsv")
    walking = strides["trial_type"].isin(GAIT_STATES)
    assert set(strides.loc[walking, "prediction"]) == {"out_of_fold"}
    events = read_described(demo / "tables/events.tsv")
    assert set(events.loc[events["trial_type"] != "swallow", "prediction"]) == {"rule"}
    assert events["prediction"].notna().all()


def test_the_page_needs_no_network_and_carries_the_cautions(demo):
    text = (demo / "report.html").read_text(encoding="utf-8")

    class Outside(html.parser.HTMLParser):
        found: ClassVar[list[str]] = []

        def handle_starttag(self, tag, attrs):
            for name, value in attrs:
                loads = name in ("src", "srcset", "data") or (tag == "link" and name == "href")
                if loads and not (value or "").startswith(("data:", "#")):
                    self.found.append(f"{tag} {name}={value}")

    page = Outside()
    page.feed(text)
    assert page.found == []
    assert not re.search(r"url\((?!['\"]?(data:|#))", text)
    for words in ("not for diagnosis", "aspiration", "isolated", "Skin", "Ethics", "Pseudonymised", "clinician"):
        assert words in text


def test_every_recording_of_a_person_that_was_read_has_a_page_that_the_list_leads_to(demo):
    table = read_described(demo / "tables/recordings.tsv")
    read = table[(table["status"] != "rejected") & table["participant_id"].notna()]
    links = re.findall(r'href="(review/[^"]+)"', (demo / "review.html").read_text(encoding="utf-8"))
    pages = [link for link in links if link.endswith(".html")]
    assert sorted(pages) == sorted(f"review/{name}.html" for name in read["recording_id"])
    for page in pages:
        assert (demo / page).stat().st_size < 10e6
        text = (demo / page).read_text(encoding="utf-8")
        loaded = re.findall(r'(?:src|link rel="stylesheet" href)="([^"]+)"', text)
        assert len(loaded) == 5
        assert all((demo / "review" / name).is_file() for name in loaded)
    assert (demo / "provenance/manifest.tsv").read_text(encoding="utf-8").count("review/assets/bokeh.min.js") == 1


def test_the_manifest_holds_the_hash_of_every_output(demo):
    manifest = read_described(demo / "provenance/manifest.tsv")
    models = set(manifest.loc[manifest["role"] == "model", "file"])
    assert models >= {"open-walks/model.skops", "open-walks/card.json"}
    outputs = manifest[manifest["role"] == "output"].set_index("file")["sha256"]
    for folder in ("tables", "signals", "validation"):
        for path in (demo / folder).iterdir():
            digest = hashlib.sha256(path.read_bytes()).hexdigest()
            assert outputs[path.relative_to(demo).as_posix()] == digest


def test_all_tables_are_one_valid_data_package(demo):
    """By the standard's own library; every table of the folder is in it."""
    package = Package(str(demo / "datapackage.json"))
    tables = {p.relative_to(demo).as_posix() for p in demo.rglob("*.tsv")}
    assert {resource.path for resource in package.resources} == tables
    assert package.validate().flatten(["type", "message"]) == []


def test_the_results_are_what_their_manifest_says(demo):
    found = compare(demo)
    assert found.whole
    assert found.new == ()
    assert found.same > 300


def test_the_codebook_has_every_table(demo):
    page = (demo / "codebook.html").read_text(encoding="utf-8")
    assert all(f'id="{p.relative_to(demo).as_posix()}"' in page for p in demo.rglob("*.tsv"))


def test_the_classifier_beats_its_baselines_on_people_it_never_saw(demo):
    scores = read_described(demo / "validation/classifier.tsv")
    pooled = scores[(scores["scope"] == "pooled") & (scores["trial_type"] == "all")].set_index("predictor")
    best = pooled.loc["classifier", "balanced_accuracy"]
    assert best > pooled.drop(index="classifier")["balanced_accuracy"].max()


def test_pooled_rows_count_the_recordings(demo):
    events = read_described(demo / "validation/events.tsv")
    keys = ["trial_type", "side", "criterion", "tolerance"]
    pooled = events[events["recording_id"] == "pooled"].set_index(keys)["n_labelled"].astype(int)
    single = events[events["recording_id"] != "pooled"].groupby(keys)["n_labelled"].sum().astype(int)
    pd.testing.assert_series_equal(pooled.sort_index(), single.sort_index(), check_names=False)
