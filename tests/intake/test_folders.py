"""No run may write where it reads, nor where somebody else's files are: every such folder is refused beforehand."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import yaml
from small_study import write_study
from strainstudy.config import config_text
from strainstudy.errors import StudyError
from strainstudy.intake import folders
from strainstudy.intake.start import check_all
from strainstudy.io.places import fault_of, lies_in

ROOT = Path(__file__).parents[2]
NORMS = str(ROOT / "config/norms.tsv")


def faults(study: Path | str, results: Path | str, files: tuple[Path, ...] = (), **settings: object) -> list[str]:
    config = yaml.safe_load(config_text()) | {"study": str(study), "results": str(results), "norms": NORMS, **settings}
    try:
        check_all(config, "mine.yaml", files)
    except StudyError as error:
        return [problem.message for problem in error.problems]
    return []


def test_a_study_in_a_folder_that_the_run_writes_is_refused(tmp_path):
    study = write_study(tmp_path / "proj/figures")
    assert faults(study, tmp_path / "proj") == [f"the study {study} lies in it"]


@pytest.mark.parametrize("inside", ["stages/classify/evidence/study", "study", "tables", "a/b/c"])
def test_a_study_anywhere_below_the_results_is_refused(tmp_path, inside):
    study = write_study(tmp_path / "out" / inside)
    assert faults(study, tmp_path / "out") == [f"the study {study} lies in it"]


def test_a_study_that_is_reached_by_a_link_is_found_where_it_lies(tmp_path):
    write_study(tmp_path / "out/figures")
    (tmp_path / "link").symlink_to(tmp_path / "out/figures", target_is_directory=True)
    assert faults(tmp_path / "link", tmp_path / "out") == [f"the study {tmp_path / 'link'} lies in it"]


def test_a_link_to_the_study_among_the_results_is_refused(tmp_path):
    study = write_study(tmp_path / "elsewhere")
    (tmp_path / "out").mkdir()
    (tmp_path / "out/study").symlink_to(study, target_is_directory=True)
    assert faults(tmp_path / "out/study", tmp_path / "out") == [f"the study {tmp_path / 'out/study'} lies in it"]


def test_results_that_are_a_link_to_the_study_or_its_parent_are_refused(tmp_path):
    study = write_study(tmp_path / "p/study")
    for name, target in {"a": study, "b": tmp_path / "p", "c": study / "raw"}.items():
        (tmp_path / name).symlink_to(target, target_is_directory=True)
    assert faults(study, tmp_path / "a") == ["results would be written into the study folder itself"]
    assert faults(study, tmp_path / "b") == [f"the study {study} lies in it"]
    (fault,) = faults(study, tmp_path / "c")
    assert fault.endswith("is read by this run and lies in the folder that it writes to")


def test_a_step_back_out_of_a_link_is_read_as_the_engine_reads_it(tmp_path):
    """The engine strikes out ``link/..``; the system follows the link first."""
    (tmp_path / "far/away").mkdir(parents=True)
    (tmp_path / "link").symlink_to(tmp_path / "far/away", target_is_directory=True)
    study = write_study(tmp_path / "proj/study")
    assert faults(study, tmp_path / "link/../proj") == [f"the study {study} lies in it"]


def test_raw_files_and_links_to_raw_files_must_not_lie_among_the_results(tmp_path):
    study = write_study(tmp_path / "study")
    (study / "out").mkdir()
    (study / "raw/walk-01.csv").rename(study / "out/walk-01.csv")
    (study / "raw/walk-01.csv").symlink_to(study / "out/walk-01.csv")
    (fault,) = faults(study, study / "out")
    assert fault == f"{study / 'raw/walk-01.csv'} is read by this run and lies in the folder that it writes to"
    assert faults(study, study / "results") == []


def test_config_and_norms_must_not_lie_among_the_results(tmp_path):
    study = write_study(tmp_path / "study")
    (tmp_path / "out").mkdir()
    for name in ("mine.yaml", "norms.tsv"):
        (tmp_path / "out" / name).write_bytes(Path(NORMS).read_bytes())
    said = "is read by this run and lies in the folder that it writes to"
    config = (tmp_path / "out/mine.yaml",)
    assert faults(study, tmp_path / "out", config) == [f"{config[0]} {said}"]
    assert faults(study, tmp_path / "out", norms=str(tmp_path / "out/norms.tsv")) == [
        f"{tmp_path / 'out/norms.tsv'} {said}"
    ]


def test_a_model_among_the_results_is_refused_by_whatever_link_it_is_named(tmp_path):
    study = write_study(tmp_path / "study")
    (tmp_path / "out/model").mkdir(parents=True)
    (tmp_path / "link").symlink_to(tmp_path / "out/model", target_is_directory=True)
    (tmp_path / "results").symlink_to(tmp_path / "out", target_is_directory=True)
    for model, results in (("link", "out"), ("out/model", "results"), ("link", "results"), ("out", "out")):
        found = faults(study, tmp_path / results, model=str(tmp_path / model))
        assert "the model of these results themselves, which this run writes anew" in found


def test_results_in_the_folder_of_a_given_model_are_refused(tmp_path):
    study = write_study(tmp_path / "study")
    (tmp_path / "model").mkdir()
    found = faults(study, tmp_path / "model/out", model=str(tmp_path / "model"))
    assert "results would be written into the folder of the given model" in found


@pytest.mark.parametrize("results", ["/", "..", str(ROOT), str(ROOT.parent)])
def test_a_folder_above_the_working_folder_or_this_project_is_refused(tmp_path, results):
    (fault,) = faults(write_study(tmp_path / "study"), results)
    assert "itself, or above it" in fault or "lies in it" in fault


@pytest.mark.parametrize("name", ["workflow", "config", "demo_raw", "tests/out", "docs", ".git", "workflow/rules/x"])
def test_the_folders_of_this_project_are_refused(tmp_path, name):
    (fault,) = faults(write_study(tmp_path / "study"), ROOT / name)
    assert fault == f"results would be written into {name.split('/')[0]}, a folder of this project"


def test_the_home_folder_and_all_above_it_are_refused(tmp_path, monkeypatch):
    study = write_study(tmp_path / "study")
    monkeypatch.setenv("HOME", str(tmp_path / "homes/me"))
    for results in ("homes", "homes/me"):
        assert faults(study, tmp_path / results) == [
            "results would be written into the home folder itself, or above it"
        ]
    assert faults(study, tmp_path / "homes/me/results") == []


def test_an_account_without_a_home_folder_can_run(tmp_path, monkeypatch):
    def nowhere() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(folders.Path, "home", nowhere)
    assert faults(write_study(tmp_path / "study"), tmp_path / "out") == []


@pytest.mark.parametrize("setting", ["study", "results", "norms", "model"])
def test_links_that_lead_round_and_paths_too_long_are_said_and_end_in_no_traceback(tmp_path, setting):
    study = write_study(tmp_path / "study")
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    given = {"study": study, "results": tmp_path / "out"}
    for value, words in {
        str(tmp_path / "a"): "a link that leads back to itself",
        str(tmp_path / "a/deeper"): "a link that leads back to itself",
        str(tmp_path / ("x" * 256)): "a path that is too long for the file system",
        str(tmp_path / ("x/" * 3000)): "a path that is too long for the file system",
        "a\0b": "a path with a null character",
    }.items():
        assert words in faults(**(given | {setting: value}))


def test_links_that_lead_nowhere_are_said(tmp_path):
    study = write_study(tmp_path / "study")
    (tmp_path / "a").symlink_to(tmp_path / "nowhere")
    for results in ("a", "a/deeper"):
        assert faults(study, tmp_path / results) == [f"{tmp_path / 'a'} is a link that leads nowhere"]
    for folder in ("labels", "raw"):
        shutil.rmtree(study / folder)
        (study / folder).symlink_to(study / folder)
    assert faults(study, tmp_path / "out") == ["a link that leads back to itself"] * 5


def test_a_label_file_that_is_a_link_to_itself_and_a_raw_file_with_too_long_a_name_are_said(tmp_path):
    study = write_study(tmp_path / "study")
    label = study / "labels/walk-01/zz_events.tsv"
    label.symlink_to(label)
    sheet = study / "recordings.tsv"
    sheet.write_text(sheet.read_text(encoding="utf-8").replace("walk-01.csv", f"{'x' * 300}.csv"), encoding="utf-8")
    assert faults(study, tmp_path / "out") == [
        "a path that is too long for the file system",
        "a link that leads back to itself",
    ]


def test_places_are_compared_by_what_the_file_system_says_and_not_by_their_spelling(tmp_path):
    """Two names of one inode: what a file system that ignores capitals gives is imitated by a link."""
    (tmp_path / "Data/in").mkdir(parents=True)
    (tmp_path / "data").symlink_to(tmp_path / "Data", target_is_directory=True)
    assert lies_in(tmp_path / "data/in", tmp_path / "Data")
    assert lies_in(tmp_path / "Data/in/not there", tmp_path / "data")
    assert not lies_in(tmp_path / "Data", tmp_path / "data/in")
    assert not lies_in(tmp_path / "Database", tmp_path / "Data")


def test_what_is_not_there_has_no_fault_of_its_own(tmp_path):
    assert fault_of(tmp_path / "not there/at all") is None
