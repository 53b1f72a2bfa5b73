import errno
import warnings
from concurrent.futures.process import BrokenProcessPool

import pytest
from strainstudy.errors import Problem, RecordingError, StudyError
from strainstudy.jobs import DISPLAY, Counts, Progress, job, read_counts, read_failure


def test_a_failure_is_one_line_and_the_log_has_the_whole_story(tmp_path, capsys, monkeypatch):
    monkeypatch.delenv(DISPLAY, raising=False)
    log = tmp_path / "logs" / "a.log"
    with pytest.raises(SystemExit) as end, job(str(log), "segment people-0"):
        raise ZeroDivisionError("by nought")
    assert end.value.code == 1
    (said,) = capsys.readouterr().err.splitlines()
    assert said == f"[segment people-0] fails: ZeroDivisionError: by nought; the whole story is in {log}"
    assert "Traceback" in log.read_text()
    assert read_failure(log) == f"ZeroDivisionError: by nought; the whole story is in {log}"


def test_a_stage_of_a_job_speaks_under_its_own_name_into_the_log_of_the_job(tmp_path):
    log = tmp_path / "a.log"
    with job(str(log), "derive people-0") as progress:
        progress.of("segment").say("1 of 2 recordings")
    lines = ["[derive people-0] starts", "[segment people-0] 1 of 2 recordings", "[derive people-0] done"]
    assert log.read_text().splitlines() == lines


@pytest.mark.parametrize(
    "error",
    [RecordingError("walk-1", "no samples"), StudyError([Problem("a.tsv", "is empty", "fill it in")])],
)
def test_a_fault_of_the_input_is_said_without_a_traceback(tmp_path, capsys, monkeypatch, error):
    monkeypatch.delenv(DISPLAY, raising=False)
    log = tmp_path / "a.log"
    with pytest.raises(SystemExit), job(str(log), "ingest bench"):
        raise error
    said = " ".join(map(str, error.problems)) if isinstance(error, StudyError) else str(error)
    assert capsys.readouterr().err == f"[ingest bench] fails: {said}\n"
    assert "Traceback" not in log.read_text()


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (
            OSError(errno.ENOSPC, "No space left on device", "out/a.parquet"),
            "the disk is full (out/a.parquet); make room",
        ),
        (OSError(errno.EROFS, "Read-only file system", "out/a"), "out/a may not be written (Read-only file system)"),
        (MemoryError(), "out of memory; run fewer jobs at once (--cores 1)"),
        (BrokenProcessPool("gone"), "a process of this job was killed, most often for want of memory; run fewer jobs"),
    ],
)
def test_what_the_machine_lacks_is_said_in_words(tmp_path, capsys, error, said):
    with pytest.raises(SystemExit), job(str(tmp_path / "a.log"), "ingest bench"):
        raise error
    assert read_failure(tmp_path / "a.log").startswith(said)


def test_a_log_that_cannot_be_written_leaves_the_line_to_the_terminal(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv(DISPLAY, "1")
    log = tmp_path / "a.log"
    with pytest.raises(SystemExit), job(str(log), "ingest bench"):
        log.unlink()
        log.mkdir()
        raise ZeroDivisionError("by nought")
    assert capsys.readouterr().err.startswith("[ingest bench] fails: ZeroDivisionError: by nought")


def test_progress_and_warnings_are_in_the_log_and_not_on_the_terminal(tmp_path, capsys):
    log = tmp_path / "a.log"
    with job(str(log), "ingest bench") as progress:
        progress.count("walk-1 good", 1, 2)
        warnings.warn("odd", stacklevel=1)
    assert capsys.readouterr().err == ""
    text = log.read_text()
    assert text.startswith("[ingest bench] starts\n[ingest bench] walk-1 good; 1 of 2 recordings\n")
    assert "odd" in text
    assert text.endswith("done\n")


def test_where_a_run_is_shown_as_a_whole_a_failing_job_leaves_the_terminal_to_it(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv(DISPLAY, "1")
    with pytest.raises(SystemExit), job(str(tmp_path / "a.log"), "ingest bench"):
        raise ZeroDivisionError("by nought")
    assert capsys.readouterr().err == ""


def test_counts_are_read_from_the_log_as_they_were_said(tmp_path):
    progress = Progress(tmp_path / "a.log", "ingest people-0")
    assert read_counts(tmp_path / "a.log") is None
    progress.count("walk-1 good", 1, 3)
    progress.count("walk-2 rejected (raw/2.csv): no samples; 3 of 4 tries", 2, 3, fault=True)
    assert read_counts(tmp_path / "a.log") == Counts(2, 3, "recording", 1, "ingest")
    progress.count("walk-3 degraded", 3, 3, fault=True)
    progress.note("x" * 100)
    assert read_counts(tmp_path / "a.log") == Counts(3, 3, "recording", 2, "ingest")
    assert (tmp_path / "a.log").read_text().splitlines()[-2].endswith("; 3 of 3 recordings, 2 faults")
    progress.of("segment").count("walk-1", 1, 3)
    assert read_counts(tmp_path / "a.log") == Counts(1, 3, "recording", 2, "segment")
    Progress(tmp_path / "b.log", "ingest people-0").count("walk-1 good", 1, 1)
    assert (tmp_path / "b.log").read_text().endswith("; 1 of 1 recording\n")
    assert read_counts(tmp_path / "b.log") == Counts(1, 1, "recording", 0, "ingest")


def test_a_log_that_is_not_there_tells_nothing(tmp_path):
    assert read_counts(tmp_path / "none.log") is None
    assert read_failure(tmp_path / "none.log") is None
