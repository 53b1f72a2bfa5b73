"""What runs again after a change, through the real Snakefile on a tiny study: what depends on the change, no more."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import yaml
from browser import opened, place_of
from sharing import validated
from strainstudy.io.labels import read_labels
from strainstudy.io.ledger import LEDGER, MARKER, read_ledger
from strainstudy.io.running import JOBS, RUN
from strainstudy.paper.kinds import PAPER_KINDS
from strainstudy.provenance.adopt import earlier_files
from strainstudy.report.kinds import KINDS
from strainstudy.study import load_study
from strainstudy.tables import read_described
from strainstudy_simulator.cohort import write_study

ROOT = Path(__file__).parents[2]
BY_BATCH = {"ingest", "derive"}
TINY = {"sessions": 1, "minutes": 0.4, "tasks": ("walk", "bend"), "bench": False, "faults": False}
AGGREGATES = {
    "tabulate", "classify", "measure", "validate", "people", "review_shared", "drawings", "report", "paper",
    "provenance",
}  # fmt: skip
"""Of them `people` and `drawings` write for four batches each, of tables of the whole study: all run again."""
LEARNING = AGGREGATES - {"tabulate"}
OF_LABELS = {"people", "standing", "proof"}
"""Kinds of figures whose tables any label may change; those of sensors and holds are left as they are."""
FIGURES_OF_LABELS = {"figures": len(OF_LABELS), "paper_figures": len(PAPER_KINDS) - len({"sensors"})}
OF_THE_FOLDER = {MARKER, LEDGER, RUN, JOBS}
"""Files that say whose the folder is and that keep two runs apart."""
SETTINGS = {
    "study": "study",
    "results": "results",
    "norms": str(ROOT / "config/norms.tsv"),
    "batches": 2,
    "gait": {"bootstrap_resamples": 200},
    "classify": {"permutations": 0, "families": ["logistic_regression"], "bootstrap_resamples": 200},
    "validate": {"bootstrap_draws": 200},
}


def snakemake(folder: Path, *arguments: str, **changes: object) -> subprocess.CompletedProcess[str]:
    file = folder / "config.yaml"
    file.write_text(yaml.safe_dump(SETTINGS | changes), encoding="utf-8")
    command = [sys.executable, "-m", "snakemake", "--snakefile", str(ROOT / "Snakefile"), "--cores", "2"]
    command += ["--scheduler", "greedy", "--directory", str(folder), *arguments, "--configfile", str(file)]
    return subprocess.run(command, capture_output=True, text=True, timeout=900, check=False, cwd=ROOT)


def planned(folder: Path, **changes: object) -> dict[str, int]:
    """Jobs that the engine would run now, counted by rule."""
    done = snakemake(folder, "--dry-run", **changes)
    said = done.stdout + done.stderr
    assert done.returncode == 0, said
    table = re.search(r"^job +count\n-.*\n((?:\w+ +\d+\n)+)", said, re.MULTILINE)
    if table is None:
        assert "Nothing to be done" in said
        return {}
    counts = {name: int(count) for name, count in (line.split() for line in table[1].splitlines())}
    return {name: count for name, count in counts.items() if name not in ("all", "total")}


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of two people, worked through once."""
    folder = tmp_path_factory.mktemp("once")
    write_study(folder / "study", people=2, **TINY)
    done = snakemake(folder, "--verbose")
    assert done.returncode == 0, done.stderr[-3000:]
    (folder / "said.txt").write_text(done.stdout + done.stderr, encoding="utf-8")
    return folder


@pytest.fixture
def study(finished: Path) -> Iterator[Path]:
    """The finished study, put back afterwards as it was."""
    before = finished.parent / "before"
    shutil.copytree(finished / "study", before)
    yield finished
    shutil.rmtree(finished / "study")
    before.rename(finished / "study")


def test_the_engine_looks_for_a_job_to_start_when_one_has_ended_and_not_every_second(finished):
    said = (finished / "said.txt").read_text(encoding="utf-8")
    ended, looked = said.count("Finished jobid: "), said.count("Ready jobs: ")
    assert 0 < looked <= ended + 1


def test_a_second_run_does_nothing_even_if_every_file_has_a_new_time_stamp(study):
    for path in (study / "study").rglob("*"):
        if path.is_file():
            path.touch()
    assert planned(study) == {}


def test_a_changed_label_of_a_walk_runs_only_what_learns_from_labels_or_is_compared_with_them(study):
    labels = study / "study/labels/sub-01_ses-01_walk/rater1_events.tsv"
    labels.write_text(labels.read_text(encoding="utf-8") + "0.2\t0.5\tartefact\tn/a\tn/a\n", encoding="utf-8")
    # of the pages only those of the batch of this recording
    assert planned(study) == dict.fromkeys(LEARNING | {"labels", "review"}, 1) | FIGURES_OF_LABELS


def test_labels_of_a_second_rater_are_compared_and_train_nothing(study):
    first = study / "study/labels/sub-01_ses-01_walk/rater1_events.tsv"
    first.with_name("rater2_events.tsv").write_bytes(first.read_bytes())
    assert "classify" not in (jobs := planned(study)) and "measure" not in jobs
    assert jobs.items() >= {"labels": 1, "validate": 1, "review": 1}.items()


def test_a_mark_moved_on_a_review_page_and_saved_passes_the_check_and_trains_again(study, chromium, tmp_path):
    """The loop of a rater: open the page from the file system, move, save, put into the study, run."""
    recording, name = "sub-01_ses-01_walk", "rater1_events.tsv"
    place = study / "study/labels" / recording / name
    before = read_labels(place)
    moved = before.index[before["trial_type"] == "initial_contact"][5]
    onset = before.loc[moved, "onset"]
    with chromium.new_context(viewport={"width": 1300, "height": 1300}, accept_downloads=True) as context:
        page = opened(context, study / "results/review" / f"{recording}.html", f"#t={onset}")
        rows = page.evaluate("Review.open.plots.lanes.rows.map((row) => row.label)")
        row = next(k for k, words in enumerate(rows) if words.startswith(f"{before.loc[moved, 'side']} foot, rater1"))
        (x, y), (to, _) = place_of(page, onset, row), place_of(page, onset + 0.1, row)
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(to, y, steps=5)
        page.mouse.up()
        with page.expect_download() as waiting:
            page.click("#save")
        assert waiting.value.suggested_filename == name
        waiting.value.save_as(place)
    after = read_labels(place)
    assert after.loc[moved, "onset"] == pytest.approx(onset + 0.1, abs=0.02)
    pd.testing.assert_frame_equal(after.drop(index=moved), before.drop(index=moved))
    assert load_study(study / "study").cautions == ()
    assert planned(study) == dict.fromkeys(LEARNING | {"labels", "review"}, 1) | FIGURES_OF_LABELS


def test_one_more_person_runs_one_batch_and_the_aggregates(study):
    write_study(study / "study", people=3, **TINY)
    assert planned(study) == dict.fromkeys(BY_BATCH | {"review"} | AGGREGATES, 1) | {
        "labels": 2, "figures": len(KINDS), "paper_figures": len(PAPER_KINDS),
    }  # fmt: skip


def test_a_changed_setting_runs_the_stages_that_use_it_and_what_follows(finished):
    validate = SETTINGS["validate"] | {"bootstrap_draws": 300}
    assert planned(finished, validate=validate) == dict.fromkeys(
        {"validate", "people", "report", "paper", "provenance"}, 1
    ) | {"figures": len({"standing", "proof"}), "paper_figures": len({"angles", "proof"})}


def test_a_changed_setting_of_maps_or_label_of_a_bend_makes_angles_anew_and_reads_no_raw_file(study):
    angles = dict.fromkeys((BY_BATCH | AGGREGATES | {"review"}) - {"ingest"}, 1) | {
        "figures": len(KINDS), "paper_figures": len(PAPER_KINDS),
    }  # fmt: skip
    assert planned(study, calibrate={"hold_error_deg": 3.0}) == angles
    (labels,) = (study / "study/labels").glob("sub-01_ses-01_bend*/rater1_events.tsv")
    labels.write_text(labels.read_text(encoding="utf-8") + "0.2\t0.5\tartefact\tn/a\tn/a\n", encoding="utf-8")
    assert planned(study) == angles | {"labels": 1}


def test_every_file_of_a_run_stands_in_the_ledger(finished):
    results = finished / "results"
    written = {path.relative_to(results).as_posix() for path in results.rglob("*") if not path.is_dir()}
    assert written - read_ledger(results).names == OF_THE_FOLDER
    # A ledger that was lost can be made anew without any of these files counting as the user's.
    assert set(earlier_files(results)) == written - OF_THE_FOLDER


def withdraw(study: Path, person: str) -> None:
    """Take a person out as the README says: rows of the sheets, raw files, labels."""
    for sheet in study.glob("*.tsv"):
        lines = sheet.read_text(encoding="utf-8").splitlines(keepends=True)
        sheet.write_text("".join(line for line in lines if person not in line), encoding="utf-8")
    for path in sorted(study.rglob(f"*{person}*"), reverse=True):
        shutil.rmtree(path) if path.is_dir() else path.unlink(missing_ok=True)


def content(path: Path) -> bytes:
    """Bytes of a file, those of Parquet with its columns of words unpacked."""
    held = path.read_bytes()
    if path.suffix == ".parquet":
        columns = pq.read_table(path).columns
        held += b"".join(repr(c.unique().to_pylist()).encode() for c in columns if not pa.types.is_floating(c.type))
    return held


def holding(folder: Path, word: str) -> set[str]:
    """Files whose name or content holds a word."""
    files = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if not path.is_dir()}
    return {name for name, path in files.items() if word in name or word.encode() in content(path)}


def test_a_person_withdrawn_is_gone_from_all_results_and_the_users_own_files_stay(finished, tmp_path):
    """Two people are too few to train from, so the history of models, which keeps its lines, is empty here.

    Of two batches both are in people-1; of four the one who is left is in people-3.
    """
    folder = tmp_path / "copy"
    shutil.copytree(finished, folder)
    results, person = folder / "results", "sub-02"
    assert len(holding(results, person)) > 10
    withdraw(folder / "study", person)
    gone = {name for name in read_ledger(results).names if person in name or Path(name).name.startswith("people-")}
    mine = [
        f"{place}mine{end}" for place in ("", "figures/", "tables/", "model/", "signals/") for end in (".png", ".tsv")
    ]
    for name in [*mine, f"figures/recordings/my {person}.svg"]:
        (results / name).write_text(f"mine of {person}", encoding="utf-8")
    unfinished = results / "signals/.people-1.parquet.999999999.part"
    unfinished.write_text(person, encoding="utf-8")
    os.utime(unfinished, (0, 0))

    done = snakemake(folder, batches=4)
    assert done.returncode == 0, done.stderr[-3000:]
    assert holding(results, person) == {*mine, f"figures/recordings/my {person}.svg"}
    gone -= read_ledger(results).names
    assert {f"figures/recordings/{person}_ses-01_walk.svg", f"people/{person}.html"} <= gone
    assert {Path(name).parts[0] for name in gone} == {"figures", "logs", "people", "review", "signals", "stages"}
    said = {line.removeprefix("[provenance] removed ") for line in done.stderr.splitlines() if "] removed " in line}
    assert gone | {"signals/.people-1.parquet.999999999.part"} <= said
    log = (folder / "results/logs/provenance.log").read_text(encoding="utf-8")
    assert f"{len(said) - 1} files of earlier runs removed" in log, "of the unfinished one the terminal tells alone"
    assert holding(folder / ".snakemake/metadata", person) == set()
    listed = read_described(results / "provenance/manifest.tsv").query("role == 'output'")["file"]
    assert set(listed) <= read_ledger(results).names
    assert all((results / name).is_file() for name in listed)
    assert planned(folder, batches=4) == {}


def followers(folder: Path, rule: str) -> list[str]:
    """Rules of the jobs that wait for a rule, before anything has run."""
    drawn = snakemake(folder, "--dag")
    assert drawn.returncode == 0, drawn.stderr[-2000:]
    names = dict(re.findall(r'(\d+)\[label = "(\w+)', drawn.stdout))
    after = re.findall(r"(\d+) -> (\d+)", drawn.stdout)
    return sorted(names[to] for start, to in after if names[start] == rule)


def test_people_wait_for_the_bench_where_their_sensors_were_on_it_and_only_then(tmp_path):
    """The answer of a sensor is undone on people, so a changed bench recording runs those again who wear it."""
    write_study(tmp_path / "study", people=1, **TINY | {"bench": True})
    assert followers(tmp_path, "characterise") == ["derive", "tabulate"]
    plan = snakemake(tmp_path, "--dry-run", "--until", "derive")
    assert re.search(r"^characterise +1$", plan.stdout + plan.stderr, re.MULTILINE), plan.stderr[-2000:]
    for name in ("recordings.tsv", "channels.tsv"):
        sheet = tmp_path / "study" / name
        lines = sheet.read_text(encoding="utf-8").splitlines(keepends=True)
        sheet.write_text("".join(line for line in lines if not line.startswith("knee")), encoding="utf-8")
    assert followers(tmp_path, "characterise") == ["tabulate"]


ALLOWED = [
    "participants.group",
    "participants.months_since_stroke",
    "recordings.recording_id",
    "channels.name",
    "sensors.sensor_id",
]
OF_THE_RAW_FILE = ["file", "file_format", "started", "time_source"]
"""Columns of the table of recordings that say which file was read, and how."""


@pytest.fixture(scope="module")
def given_away(finished: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The finished study, shared with every column allowed."""
    folder = tmp_path_factory.mktemp("given") / "copy"
    shutil.copytree(finished, folder)
    done = snakemake(folder, "share", share={"allow_columns": ALLOWED})
    assert done.returncode == 0, done.stderr[-3000:]
    ran = re.findall(r"^(?:local)?rule (\w+):", done.stdout + done.stderr, re.MULTILINE)
    # the manifest names the settings file, which is another one now
    assert set(ran) == {"provenance", "share"}
    return folder


def test_sharing_runs_nothing_else_and_is_no_part_of_a_run(given_away):
    results = given_away / "results"
    assert planned(given_away, share={"allow_columns": ALLOWED}) == {}
    written = {path.relative_to(results).as_posix() for path in (results / "share").rglob("*") if path.is_file()}
    assert "share/bids/participants.tsv" in written
    assert written <= read_ledger(results).names


def test_the_shared_folder_has_no_error_by_the_validator_of_the_standard(given_away):
    issues = validated(given_away / "results/share/bids")
    assert [issue for issue in issues if issue["severity"] == "error"] == []


def test_another_laboratory_recomputes_the_cadence_from_the_shared_folder_with_pandas_alone(given_away):
    """Cadence = 120 / stride time; a stride goes from one contact to the next of the same foot.

    By hand from events alone: contacts within the bout of walking, intervals up to 1.5 times their median, which
    leaves out what lies between two walks. The pipeline leaves out first and last strides and turns as well: hence 3 %.
    """
    bids = given_away / "results/share/bids"
    gait = pd.read_csv(bids / "derivatives/strainstudy/tables/gait.tsv", sep="\t", na_values="n/a")
    compared = 0
    for scans in sorted(bids.glob("sub-*/ses-*/*_scans.tsv")):
        for row in pd.read_csv(scans, sep="\t").itertuples():
            if "task-walk" not in row.filename:
                continue
            name = scans.parent.relative_to(bids) / row.filename.replace("_motion.tsv", "_events.tsv")
            events = pd.read_csv(bids / "derivatives/strainstudy" / name, sep="\t", na_values="n/a")
            states = events[events["trial_type"].isin(["normal_gait", "limping_gait"])]
            contacts = events[events["trial_type"] == "initial_contact"]
            for state, bouts in states.groupby("trial_type"):
                steps = []
                for bout in bouts.itertuples():
                    inside = contacts[contacts["onset"].between(bout.onset, bout.onset + bout.duration)]
                    steps += [np.diff(foot["onset"]) for _, foot in inside.groupby("side")]
                strides = np.concatenate(steps)
                strides = strides[strides < 1.5 * np.median(strides)]
                told = gait[(gait["recording_id"] == row.recording_id) & (gait["trial_type"] == state)]
                assert 120 / strides.mean() == pytest.approx(told["cadence"].item(), rel=0.03)
                compared += 1
    assert compared >= 2


def test_a_study_that_comes_back_from_its_shared_folder_gives_the_same_tables_byte_for_byte(given_away, tmp_path):
    shutil.copytree(given_away / "results/share/bids", tmp_path / "study")
    done = snakemake(tmp_path, "validate")
    assert done.returncode == 0, done.stderr[-3000:]
    before, after = given_away / "results", tmp_path / "results"
    tables = sorted(p.relative_to(after).as_posix() for f in ("tables", "validation") for p in (after / f).glob("*"))
    assert len(tables) > 40
    differ = [name for name in tables if (before / name).read_bytes() != (after / name).read_bytes()]
    assert differ == ["tables/recordings.tsv"]
    old, new = (read_described(folder / "tables/recordings.tsv") for folder in (before, after))
    pd.testing.assert_frame_equal(old.drop(columns=OF_THE_RAW_FILE), new.drop(columns=OF_THE_RAW_FILE))
