"""Who is at work in a results folder, with real processes that really die."""

import os
import subprocess
import sys
import time

import pytest
from strainstudy.errors import StudyError
from strainstudy.io.running import (
    ENGINE,
    JOBS,
    RUN,
    engine_mark,
    hold,
    is_held,
    sharing,
    succeed,
    wait_for_jobs,
    watch_engine,
)  # fmt: skip

HOLDER = """
import sys, time
from pathlib import Path
from strainstudy.io.running import hold
hold(Path(sys.argv[1]))
print("held", flush=True)
time.sleep(60)
"""
SHARER = """
import sys, time
from pathlib import Path
from strainstudy.io.running import sharing
with sharing(Path(sys.argv[1]) / "logs/a.log"):
    print("at work", flush=True)
    time.sleep(60)
"""
WATCHER = """
import time
from strainstudy.io.running import watch_engine
watch_engine()
print("at work", flush=True)
time.sleep(60)
"""
PARENT = """
import os, subprocess, sys, time
from strainstudy.io.running import ENGINE, engine_mark
os.environ[ENGINE] = engine_mark()
child = subprocess.Popen([sys.executable, "-c", sys.argv[1]])
print(child.pid, flush=True)
time.sleep(60)
"""


def begin(code: str, *arguments: object) -> tuple[subprocess.Popen, str]:
    """Start Python and wait for its first line."""
    process = subprocess.Popen([sys.executable, "-c", code, *map(str, arguments)], stdout=subprocess.PIPE, text=True)
    return process, process.stdout.readline().strip()


def end(process: subprocess.Popen) -> None:
    process.kill()
    process.wait()
    process.stdout.close()


@pytest.fixture
def free(monkeypatch):
    """Give up again what this process takes."""
    held: list[int] = []
    monkeypatch.setattr("strainstudy.io.running._held", held)
    monkeypatch.delenv(ENGINE, raising=False)
    yield
    for file in held:
        os.close(file)


def test_a_second_run_is_refused_until_the_first_is_gone_however_it_went(tmp_path, free):
    first, _ = begin(HOLDER, tmp_path)
    assert is_held(tmp_path / RUN) is True
    with pytest.raises(StudyError) as refused:
        hold(tmp_path)
    assert f"another run is writing there, by process {first.pid} on " in str(refused.value)
    end(first)
    assert is_held(tmp_path / RUN) is False
    assert hold(tmp_path) is None
    assert (tmp_path / RUN).read_text().startswith(f"{engine_mark()}\nby process {os.getpid()} on ")


def test_a_lock_is_succeeded_to_only_if_somebody_had_it_who_is_gone(tmp_path, free):
    assert not succeed(tmp_path / "a" / RUN)
    first, _ = begin(HOLDER, tmp_path)
    assert not succeed(tmp_path / RUN)
    end(first)
    assert succeed(tmp_path / RUN)
    assert is_held(tmp_path / RUN) is True


def test_nobody_has_what_nobody_ever_had(tmp_path):
    assert is_held(tmp_path / RUN) is None
    assert not (tmp_path / RUN).exists()


def test_a_file_system_without_locks_is_a_caution(tmp_path, free, monkeypatch):
    def none(file, how):
        raise OSError(38, "Function not implemented")

    monkeypatch.setattr("fcntl.flock", none)
    assert "has no locks: see to it that one run at a time" in hold(tmp_path)
    assert is_held(tmp_path / RUN) is None


def test_a_new_run_waits_for_the_jobs_of_a_killed_one_and_refuses_if_they_go_on(tmp_path, free):
    hold(tmp_path)
    (tmp_path / JOBS).touch()
    job, _ = begin(SHARER, tmp_path)
    said: list[str] = []
    with pytest.raises(StudyError, match="jobs of a run that was killed are still at work there"):
        wait_for_jobs(tmp_path, said.append, wait_s=0.3)
    assert said == [f"waiting for jobs of a killed run in {tmp_path} to end"]
    end(job)
    wait_for_jobs(tmp_path, said.append, wait_s=5)


def test_a_job_that_starts_after_another_run_has_taken_over_ends_before_it_writes(tmp_path, free, monkeypatch):
    """A cluster may start a job long after the run that submitted it was killed."""
    monkeypatch.setenv(ENGINE, "1 1 elsewhere/")
    hold(tmp_path)
    (tmp_path / JOBS).touch()
    with pytest.raises(StudyError, match="a later run has taken over"), sharing(tmp_path / "logs/a.log"):
        pytest.fail("must not begin")
    monkeypatch.setenv(ENGINE, engine_mark())
    with sharing(tmp_path / "logs/a.log") as folder:
        assert folder == tmp_path


def test_a_job_ends_soon_after_its_engine_is_killed():
    engine, child = begin(PARENT, WATCHER)
    assert engine.stdout.readline() == "at work\n"
    end(engine)
    until = time.monotonic() + 10
    while time.monotonic() < until:
        try:
            os.kill(int(child), 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    os.kill(int(child), 9)
    pytest.fail("the job went on")


def test_an_engine_on_another_machine_is_not_taken_for_dead(monkeypatch):
    monkeypatch.setenv(ENGINE, "999999999 5 another-boot/pid:[1]")
    watch_engine()
    time.sleep(0.7)


def test_a_number_given_to_a_later_process_is_not_taken_for_the_engine(monkeypatch):
    from strainstudy.io.running import _is_gone

    number, started, space = engine_mark().split(" ", 2)
    assert not _is_gone(f"{number} {started} {space}")
    if started:
        assert _is_gone(f"{number} {int(started) - 1} {space}")
