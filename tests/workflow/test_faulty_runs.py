"""Runs that cannot go well: one clear message, no traceback, before any work where it can be known before."""

from __future__ import annotations

import gzip
import pickle
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import yaml
from small_study import write_study as write_small_study
from strainstudy.config import config_text
from strainstudy.errors import StudyError
from strainstudy.intake.start import check_all
from strainstudy_simulator.cohort import write_study

ROOT = Path(__file__).parents[2]
NORMS = str(ROOT / "config/norms.tsv")


def snakemake(folder: Path, *arguments: str, **settings: object) -> subprocess.CompletedProcess[str]:
    file = folder / "mine.yaml"
    file.write_text(yaml.safe_dump({"norms": NORMS, **settings}), encoding="utf-8")
    command = [sys.executable, "-m", "snakemake", "--snakefile", str(ROOT / "Snakefile"), "--cores", "1"]
    command += ["--scheduler", "greedy", "--directory", str(folder), *arguments, "--configfile", str(file)]
    return subprocess.run(command, capture_output=True, text=True, timeout=300, check=False, cwd=ROOT)


def problems(folder: Path, **settings: object) -> list[str]:
    """Say what is wrong with the small study under these settings."""
    study = write_small_study(folder / "study")
    config = yaml.safe_load(config_text()) | {"study": str(study), "results": str(folder / "out"), "norms": NORMS}
    try:
        check_all(config | settings, "mine.yaml")
    except StudyError as error:
        return [str(problem) for problem in error.problems]
    return []


def test_a_good_study_has_no_problems(tmp_path):
    assert problems(tmp_path) == []


@pytest.mark.parametrize(
    ("results", "said"),
    [
        ("study", "results would be written into the study folder itself; name another folder."),
        ("study/labels/out", "results and the study's own files would be mixed; name another folder."),
        ("a/{b}", "a path with '{' '}', which the engine takes for a pattern; rename the folder."),
        ("study/participants.tsv/out", "participants.tsv is a file; name a folder."),
    ],
)
def test_a_results_folder_that_cannot_be_is_refused_before_any_work(tmp_path, results, said):
    (found,) = problems(tmp_path, results=str(tmp_path / results))
    assert found.startswith("mine.yaml, column results, value ")
    assert found.endswith(said)


@pytest.mark.parametrize("name", ["study", "results", "model", "norms"])
@pytest.mark.parametrize(("path", "why"), [("n" * 300, "too long"), ("a\0b", "null"), ("loop", "leads back to itself")])
def test_a_path_that_no_file_system_can_follow_is_refused_in_words(tmp_path, name, path, why):
    (tmp_path / "loop").symlink_to("loop")
    (found,) = problems(tmp_path, **{name: path if "\0" in path else str(tmp_path / path)})
    assert f"mine.yaml, column {name}, value " in found
    assert why in found


def test_a_model_that_tells_nothing_of_what_the_study_records_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("strainstudy.intake.start.model_problems", lambda config, file: [])
    (tmp_path / "model").mkdir()
    (tmp_path / "model/swallow.skops").touch()
    (found,) = problems(tmp_path, model=str(tmp_path / "model"))
    assert "the run it comes from trained no model of gait, which this study records; name the model/ folder" in found
    (tmp_path / "model/model.skops").touch()
    assert problems(tmp_path, model=str(tmp_path / "model")) == []


def test_a_model_of_gait_alone_goes_on_with_a_caution_where_throats_are_recorded_too(tmp_path, monkeypatch):
    monkeypatch.setattr("strainstudy.intake.start.model_problems", lambda config, file: [])
    (tmp_path / "model").mkdir()
    (tmp_path / "model/model.skops").touch()
    study = write_small_study(tmp_path / "study")
    with (study / "channels.tsv").open("a", encoding="utf-8") as file:
        file.write("walk-01\tthroat_v\tthroat\tV\tS3\tgood\n")
    sensors = (study / "sensors.tsv").read_text(encoding="utf-8")
    (study / "sensors.tsv").write_text(sensors + "S3" + sensors.splitlines()[1][2:] + "\n", encoding="utf-8")
    config = yaml.safe_load(config_text()) | {"study": str(study), "results": str(tmp_path / "out"), "norms": NORMS}
    (caution,) = check_all(config | {"model": str(tmp_path / "model")}, "mine.yaml")[2].cautions
    assert "trained no model of swallows, which this study records; its own labels train one, or the rule" in str(
        caution
    )


@pytest.mark.parametrize("results", [".", "", "~/out"])
def test_a_results_folder_without_a_place_of_its_own_is_refused(tmp_path, results):
    (found,) = problems(tmp_path, results=results)
    assert found.startswith(f"mine.yaml, column results, value {results!r}: ")


def test_results_may_lie_in_a_folder_with_spaces_and_letters_of_any_language(tmp_path):
    assert problems(tmp_path, results=str(tmp_path / "größe und spaces")) == []


@pytest.mark.parametrize(
    ("files", "said"),
    [
        (None, "there is no such folder; name the model/ folder of a strainstudy run, or null."),
        ({}, "holds neither model.skops nor swallow.skops; give the model/ folder of a strainstudy run, whole."),
        ({"card.json": b"{}"}, "the run it comes from trained no model; name the model/ folder of another run."),
        ({"gait.pkl": pickle.dumps(1)}, "is a pickle, which can run any code when it is opened"),
        ({"model.skops": pickle.dumps(1)}, "is a pickle, which can run any code when it is opened"),
        ({"model.skops": b"PK"}, "is not a skops model file"),
    ],
)
def test_a_model_that_cannot_be_used_is_refused_before_any_work(tmp_path, files, said):
    folder = tmp_path / "model"
    for name, content in ({} if files is None else files).items():
        folder.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    if files == {}:
        folder.mkdir()
    (found,) = problems(tmp_path, model=str(folder))
    assert str(folder) in found
    assert said in found


def test_the_model_that_this_run_writes_cannot_be_its_input(tmp_path):
    (found,) = problems(tmp_path, model=str(tmp_path / "out/model"))
    assert "the model of these results themselves" in found


def test_the_check_alone_names_every_fault_and_ends_with_an_error_but_no_traceback(tmp_path):
    study = write_small_study(tmp_path / "study")
    shutil.rmtree(study / "raw")
    done = snakemake(tmp_path, "check", study=str(study), results="out", batches="two", ingest={"gap_step": 2})
    assert done.returncode == 1
    said = done.stdout + done.stderr
    assert "6 problems found; nothing was run:" in said
    assert "column batches, value 'two': wrong kind of value; give a whole number or null." in said
    assert "column ingest.gap_step: unknown setting; did you mean 'gap_steps'." in said
    assert said.count("the file is not there; correct the path, or put the file in its place.") == 4
    assert "Traceback" not in said
    assert not (tmp_path / "out").exists()


def small_cohort(tmp_path: Path) -> Path:
    return write_study(
        tmp_path / "a study", people=2, sessions=1, minutes=0.2, tasks=("walk",), bench=False, faults=False
    )


def test_a_broken_file_is_a_caution_of_the_check_and_under_strict_a_fault_before_any_work(tmp_path):
    study = small_cohort(tmp_path)
    (study / "raw/sub-02/sub-02_ses-01_walk.csv.gz").write_bytes(b"no gzip")
    told = "raw/sub-02/sub-02_ses-01_walk.csv.gz: recording sub-02_ses-01_walk: not a whole gzip file"
    done = snakemake(tmp_path, "check", study=str(study), results="out")
    assert done.returncode == 0
    assert "1 caution, which stops nothing:" in done.stderr
    assert told in done.stderr
    assert "in order, with 1 caution (above)." in done.stdout
    done = snakemake(tmp_path, study=str(study), results="out", strict=True)
    assert done.returncode == 1
    assert "1 problem found; nothing was run:" in done.stderr
    assert told in done.stderr
    assert not (tmp_path / "out").exists()


def test_a_recording_of_no_use_under_strict_stops_with_its_reason_and_keeps_what_was_done(tmp_path):
    study = small_cohort(tmp_path)
    file = study / "raw/sub-02/sub-02_ses-01_walk.csv.gz"
    lines = gzip.decompress(file.read_bytes()).splitlines(keepends=True)
    file.write_bytes(gzip.compress(b"".join(lines[:60])))
    shutil.rmtree(study / "labels")
    settings = {"study": str(study), "results": "my results", "strict": True, "batches": 4}
    done = snakemake(tmp_path, "--keep-going", "--until", "ingest", **settings)
    assert done.returncode == 1
    said = done.stdout + done.stderr
    assert "recording sub-02_ses-01_walk: " in said
    assert "(the setting strict stops here)" in said
    assert "Traceback" not in said
    assert len(list((tmp_path / "my results/stages/ingest").glob("*.parquet"))) == 1


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_study_inside_the_results_is_refused_by_check_and_by_a_run_and_stays_whole(tmp_path):
    study = write_small_study(tmp_path / "proj/figures")
    before = contents(study)
    for target in ("check", "all"):
        done = snakemake(tmp_path, target, study=str(study), results=str(tmp_path / "proj"))
        assert done.returncode == 1
        assert "figures lies in it; name a folder of their own." in done.stdout + done.stderr
    assert contents(tmp_path / "proj") == {f"figures/{name}": content for name, content in before.items()}


def test_a_folder_of_the_users_own_is_refused_and_stays_as_it_was(tmp_path):
    study = write_small_study(tmp_path / "study")
    (tmp_path / "out/figures").mkdir(parents=True)
    for name in ("figures/my_paper_figure.png", "report.html"):
        (tmp_path / "out" / name).write_text("mine", encoding="utf-8")
    done = snakemake(tmp_path, study=str(study), results="out")
    assert done.returncode == 1
    assert "a folder that strainstudy did not make and that is not empty" in done.stdout + done.stderr
    assert contents(tmp_path / "out") == {"figures/my_paper_figure.png": b"mine", "report.html": b"mine"}


def test_neither_a_check_nor_a_plan_of_a_run_makes_the_results_folder(tmp_path):
    study = write_small_study(tmp_path / "study")
    for arguments in (["check"], ["--dry-run"]):
        assert snakemake(tmp_path, *arguments, study=str(study), results="out").returncode == 0
        assert not (tmp_path / "out").exists()


def test_a_run_that_was_killed_is_unlocked_even_if_its_study_is_gone(tmp_path):
    """The lock files are those of the engine: .snakemake/locks/<number>.<kind>.lock."""
    locks = tmp_path / ".snakemake/locks"
    locks.mkdir(parents=True)
    (locks / "0.output.lock").write_text(str(tmp_path / "out/report.html"), encoding="utf-8")
    done = snakemake(tmp_path, "--unlock", study=str(tmp_path / "not there"), results="out")
    assert done.returncode == 0, done.stderr
    assert not list(tmp_path.glob(".snakemake/locks/*.lock"))


def test_no_rule_declares_a_whole_folder_as_its_output():
    """The engine empties such a folder before the job, with whatever a user has put there."""
    for rules in [ROOT / "Snakefile", *(ROOT / "workflow/rules").glob("*.smk")]:
        assert "directory(" not in rules.read_text(encoding="utf-8")
