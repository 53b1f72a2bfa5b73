import warnings

import pytest
from strainstudy.errors import Problem, RecordingError, StudyError
from strainstudy.jobs import job


def test_a_failure_is_one_line_and_the_log_has_the_whole_story(tmp_path, capsys):
    log = tmp_path / "logs" / "a.log"
    with pytest.raises(SystemExit) as end, job(str(log), "segment people-0"):
        raise ZeroDivisionError("by nought")
    assert end.value.code == 1
    said = capsys.readouterr().err
    assert "Traceback" not in said
    assert said.splitlines()[-1].startswith("[segment people-0] fails: ZeroDivisionError: by nought")
    assert "Traceback" in log.read_text()


def test_a_stage_of_a_job_speaks_under_its_own_name_into_the_log_of_the_job(tmp_path, capsys):
    log = tmp_path / "a.log"
    with job(str(log), "derive people-0") as progress:
        progress.of("segment").say("1 of 2 recordings")
    lines = ["[derive people-0] starts", "[segment people-0] 1 of 2 recordings", "[derive people-0] done"]
    assert capsys.readouterr().err.splitlines() == lines
    assert log.read_text().splitlines() == lines


@pytest.mark.parametrize(
    "error",
    [RecordingError("walk-1", "no samples"), StudyError([Problem("a.tsv", "is empty", "fill it in")])],
)
def test_a_fault_of_the_input_is_said_without_a_traceback(tmp_path, capsys, error):
    log = tmp_path / "a.log"
    with pytest.raises(SystemExit), job(str(log), "ingest bench"):
        raise error
    assert str(error) in capsys.readouterr().err
    assert "Traceback" not in log.read_text()


def test_progress_and_warnings_are_in_the_log(tmp_path, capsys):
    log = tmp_path / "a.log"
    with job(str(log), "ingest bench") as progress:
        progress.say("1 of 2 recordings")
        warnings.warn("odd", stacklevel=1)
    assert "[ingest bench] 1 of 2 recordings" in capsys.readouterr().err
    text = log.read_text()
    assert "starts" in text
    assert "odd" in text
    assert text.endswith("done\n")
