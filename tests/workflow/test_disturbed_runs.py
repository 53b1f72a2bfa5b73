"""What happens to a run, through the real engine: killed, two at once, no room, no permission, a clock that jumps."""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import time
from pathlib import Path

import pytest
from small_runs import ROOT, Run, contents, different, jobs_of, kill, small_study
from strainstudy.io.ledger import MARKER
from strainstudy.io.running import RUN

FIRST = ("--until", "ingest")
LINES = 12
"""Most lines that a run of few seconds may say (ours: the users counted 240 for two files)."""


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> Path:
    return small_study(tmp_path_factory.mktemp("small"), people=2)


@pytest.fixture(scope="module")
def calm(tmp_path_factory, study) -> Run:
    """An undisturbed run of the first stages."""
    run = Run(tmp_path_factory.mktemp("calm") / "run", study, ("--until", "derive"))
    assert run.finish() == 0, run.said()
    return run


def started(run: Run) -> subprocess.Popen[bytes]:
    """Start a run and wait until a job is at work."""
    engine = run.start()
    while engine.poll() is None and not jobs_of(engine.pid):
        time.sleep(0.01)
    return engine


@pytest.mark.parametrize("target", ["group", "engine", "job"])
def test_after_a_kill_the_same_command_gives_the_same_bytes(tmp_path, study, calm, target):
    run = Run(tmp_path / "run", study, calm.targets)
    engine = started(run)
    assert kill(engine, target)
    assert engine.wait() != 0
    assert run.finish() == 0, run.said()
    assert different(contents(calm.results), contents(run.results)) == []
    assert "unlock" not in run.said()
    if target == "job":
        assert "it was killed, most likely because memory ran out" in run.said()


def test_a_kill_between_the_engines_lock_and_the_first_job_leaves_no_lock(tmp_path, study):
    run = Run(tmp_path / "run", study, FIRST)
    engine = run.start()
    locks = run.folder / ".snakemake/locks/0.output.lock"
    while engine.poll() is None and not locks.is_file():
        time.sleep(0.002)
    engine.kill()
    engine.wait()
    assert locks.is_file()
    assert run.finish() == 0, run.said()


def test_jobs_end_soon_after_their_engine(tmp_path, study):
    run = Run(tmp_path / "run", study, FIRST)
    engine = started(run)
    engine.kill()
    engine.wait()
    until = time.monotonic() + 10
    while jobs_of(engine.pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert jobs_of(engine.pid) == {}


def test_one_results_folder_takes_one_run_at_a_time_from_wherever_it_is_started(tmp_path, study):
    first = Run(tmp_path / "one", study, FIRST)
    engine = started(first)
    same = Run(first.folder, study, FIRST)
    other = Run(tmp_path / "two", study, ("--until", "derive"), {"results": str(first.results)})
    os.kill(engine.pid, 19)  # SIGSTOP: it neither ends nor goes on while the others try
    try:
        before = len(same.said())
        assert same.finish() == 1
        assert other.finish() == 1
        assert "another run is going on in this working folder" in same.said()[before:]
        assert f"another run is writing there, by process {engine.pid} on " in other.said()
        assert "Traceback" not in other.said() + same.said()
    finally:
        os.kill(engine.pid, 18)
    assert engine.wait(timeout=300) == 0, first.said()
    assert other.finish() == 0, other.said()


def test_a_run_says_few_lines_and_its_jobs_say_the_rest_in_their_logs(calm):
    lines = calm.said().splitlines()
    assert len(lines) <= LINES
    assert lines[-1].startswith("done in ")
    assert lines[-1].endswith(": 4 recordings of 2 people, results in results; no new faults found")
    logs = sorted(calm.results.glob("logs/ingest/*.log"))
    assert logs
    assert sum(log.read_text().count(" good; ") for log in logs) == 4


def test_without_the_profile_a_run_is_shown_by_the_engine_and_a_failing_job_says_why(tmp_path, study):
    copy = shutil.copytree(study, tmp_path / "study")
    (file,) = (copy / "raw").glob("*/sub-01_*_walk.csv.gz")
    file.write_bytes(file.read_bytes()[:-100])
    run = Run(tmp_path / "run", copy, (*FIRST, "--workflow-profile", "none"), {"strict": False})
    assert run.finish() == 0, run.said()
    assert "rule ingest:" in run.said()
    logs = "".join(log.read_text() for log in run.results.glob("logs/ingest/*.log"))
    assert "rejected" in logs
    assert ", 1 fault" in logs


def limited(run: Run, limit: int, value: int) -> int:
    """Run under a limit of the system."""
    old = resource.getrlimit(limit)
    resource.setrlimit(limit, (value, old[1]))
    try:
        engine = run.start()
    finally:
        resource.setrlimit(limit, old)
    return engine.wait(timeout=300)


def test_no_room_is_one_line_and_leaves_nothing_half_written(tmp_path, study, calm):
    """A limit on the size of a file stands for a full disk: the call that writes fails in the same way."""
    run = Run(tmp_path / "run", study, calm.targets)
    assert limited(run, resource.RLIMIT_FSIZE, 30_000) != 0
    said = run.said()
    assert "failed: ingest people-" in said
    assert "the disk is full" in said
    assert "make room and give the same command again" in said
    assert "Traceback" not in said
    assert list(run.results.glob("stages/**/*.parquet")) == []
    assert run.finish() == 0, run.said()
    assert different(contents(calm.results), contents(run.results)) == []


def read_only(folder: Path) -> bool:
    """Make a folder one that nobody may write to; tell whether that could be done."""
    if os.geteuid() != 0:
        folder.chmod(0o555)
        return True
    words = ["mount", "-t", "tmpfs", "-o", "ro", "none", str(folder)]
    return shutil.which("mount") is not None and subprocess.run(words, check=False, capture_output=True).returncode == 0


def test_results_that_may_not_be_written_are_refused_before_any_work(tmp_path, study):
    run = Run(tmp_path / "run", study, FIRST)
    run.results.mkdir(parents=True)
    if not read_only(run.results):
        pytest.skip("this user may neither be refused nor mount a file system")
    try:
        assert run.finish() == 1
    finally:
        if os.geteuid() == 0:
            subprocess.run(["umount", str(run.results)], check=True)
        else:
            run.results.chmod(0o755)
    assert "may not be written to; name another folder, or have its permissions changed." in run.said()
    assert "Traceback" not in run.said()


def test_a_results_folder_that_was_moved_is_taken_up_where_it_lies(tmp_path, study, calm):
    run = Run(tmp_path / "run", study, calm.targets)
    shutil.copytree(calm.results, tmp_path / "run/moved", copy_function=shutil.copy2)
    moved = Run(run.folder, study, calm.targets, {"results": "moved"})
    assert moved.finish() == 0, moved.said()
    stages = [name for name in contents(calm.results) if name.startswith("stages/")]
    assert [name for name in different(contents(calm.results), contents(moved.results)) if name in stages] == []


def test_a_clock_that_jumped_back_changes_no_byte(tmp_path, study, calm):
    """What was written before the clock was put right is from the future: a raw file, which is told; then results."""
    copy = shutil.copytree(study, tmp_path / "study")
    later = time.time() + 86_400
    raw = next((copy / "raw").rglob("*walk*"))
    os.utime(raw, (later, later))
    run = Run(tmp_path / "run", copy, FIRST)
    assert run.finish() == 1
    assert f"{raw}: was changed in the future, " in run.said()
    raw.touch()
    assert run.finish() == 0, run.said()
    for path in (run.results / "stages/ingest").iterdir():
        os.utime(path, (later, later))
    run.targets = calm.targets
    assert run.finish() == 0, run.said()
    # the marker names the study, which lies elsewhere here
    assert different(contents(calm.results), contents(run.results)) == [MARKER]


def test_settings_that_are_no_yaml_are_told_with_file_and_line(tmp_path, study):
    run = Run(tmp_path / "run", study, FIRST)
    run.folder.mkdir()
    (run.folder / "broken.yaml").write_text("study: [a\nresults: out\n", encoding="utf-8")
    broken = Run(run.folder, study, (*FIRST, "--configfile", str(run.folder / "broken.yaml")))
    assert broken.finish() == 1
    assert f"{run.folder}/broken.yaml, row 2: not YAML" in broken.said()
    assert "Traceback" not in broken.said()


def test_the_record_of_a_run_tells_who_it_was(calm):
    first, second = (calm.results / RUN).read_text(encoding="utf-8").splitlines()
    assert first.split(" ")[0].isdigit()
    assert second.startswith("by process ")
    assert (ROOT / "workflow/profiles/default/config.yaml").read_text().count("logger: [strainstudy]") == 1
