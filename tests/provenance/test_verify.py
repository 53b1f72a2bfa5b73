import json
import subprocess
import sys

import pandas as pd
import pytest
from strainstudy.errors import StudyError
from strainstudy.io.ledger import begin
from strainstudy.provenance.crate import CRATE, run_crate
from strainstudy.provenance.manifest import MANIFEST, list_files
from strainstudy.provenance.verify import compare
from strainstudy.tables import write_table


@pytest.fixture
def folders(tmp_path):
    """A study of one file and its results, of two, as a run leaves them."""
    study, results = tmp_path / "study", tmp_path / "results"
    for path, words in {
        study / "participants.tsv": "participant_id\nsub-01\n",
        results / "tables/gait.tsv": "a\n",
        results / "report.html": "b\n",
        results / "logs/ingest.log": "c\n",
        tmp_path / "study.yaml": "study: study\n",
    }.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(words)
    own = ["tables/gait.tsv", "report.html", "logs/ingest.log", "provenance/manifest.tsv", "provenance/manifest.json"]
    begin(results, [*own, CRATE], study)
    parts = [
        list_files("input", study, [study / "participants.tsv"]),
        list_files("setting", tmp_path, [tmp_path / "study.yaml"]),
        list_files("output", results, [results / "tables/gait.tsv", results / "report.html"]),
    ]
    manifest = pd.concat(parts, ignore_index=True)
    write_table(manifest, MANIFEST, results)
    crate = run_crate(manifest, name="study", date="2026-11-25", version="1", packages={})
    (results / CRATE).write_text(json.dumps(crate))
    return study, results


def test_a_folder_as_the_run_left_it_is_whole(folders):
    found = compare(folders[1])
    assert (found.same, found.changed, found.missing, found.new) == (3, (), (), ())
    assert found.whole
    assert "study.yaml" in found.not_looked_at[0]


def test_what_changed_is_missing_or_new_is_named(folders):
    study, results = folders
    (results / "tables/gait.tsv").write_text("a, edited\n")
    (results / "report.html").unlink()
    (results / "tables/notes.tsv").write_text("mine\n")
    (study / "participants.tsv").write_text("participant_id\nsub-02\n")
    found = compare(results)
    assert found.changed == ("study: participants.tsv", "tables/gait.tsv")
    assert found.missing == ("report.html",)
    assert found.new == ("tables/notes.tsv",)
    assert not found.whole


def test_a_file_and_its_line_in_the_manifest_changed_together_are_caught_by_the_crate(folders):
    results = folders[1]
    (results / "report.html").write_text("prettier\n")
    manifest = results / MANIFEST.path
    old = next(line for line in manifest.read_text().splitlines() if "report.html" in line).split("\t")[3]
    new = list_files("output", results, [results / "report.html"])["sha256"][0]
    manifest.write_text(manifest.read_text().replace(old, new))
    assert compare(results).changed == (MANIFEST.path,)


def test_a_study_that_has_moved_is_named_or_said_to_be_left_out(folders, tmp_path):
    study, results = folders
    study.rename(tmp_path / "elsewhere")
    found = compare(results)
    assert found.same == 2
    assert found.whole
    assert "not where it was" in found.not_looked_at[0]
    assert compare(results, study=tmp_path / "elsewhere").same == 3


def test_a_second_run_is_held_to_the_first_ones_manifest(folders, tmp_path):
    results, again = folders[1], tmp_path / "again"
    (again / "tables").mkdir(parents=True)
    (again / "tables/gait.tsv").write_text("a\n")
    (again / "report.html").write_text("another\n")
    found = compare(results, made_again=again)
    assert (found.same, found.changed) == (1, ("report.html",))


def test_a_folder_without_manifest_or_with_a_broken_one_is_refused_in_words(folders, tmp_path):
    with pytest.raises(StudyError, match="there is no such folder"):
        compare(tmp_path / "nowhere")
    with pytest.raises(StudyError, match="nothing to compare"):
        compare(folders[0])
    (folders[1] / MANIFEST.path).write_text("not a table")
    with pytest.raises(StudyError, match="cannot be read"):
        compare(folders[1])


def test_the_command_ends_with_1_where_something_changed(folders):
    command = [sys.executable, "-m", "strainstudy.provenance.verify", str(folders[1])]
    assert subprocess.run(command, capture_output=True, check=False).returncode == 0
    (folders[1] / "report.html").write_text("x")
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "1 changed:\n  report.html" in done.stdout
