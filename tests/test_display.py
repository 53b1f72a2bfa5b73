"""The one line that a run says of itself, with a clock that the test turns."""

import io
from pathlib import Path

import pytest
from snakemake_logger_plugin_strainstudy.display import Display, Planned, duration_words, one_line
from strainstudy.jobs import Progress


class Clock:
    """Stands still until the test moves it."""

    now = 100.0

    def __call__(self) -> float:
        """Tell the time."""
        return self.now


def started(tmp_path: Path, *, seconds: float = 10.0) -> tuple[Display, io.StringIO, Clock]:
    """Two batches of two stages: 3 and 1 recordings."""
    stream, clock = io.StringIO(), Clock()
    display = Display(stream, bar=False, clock=clock)
    jobs = {
        number: Planned(stage, f"people-{batch}", n, seconds, tmp_path / f"{stage}-{batch}.log")
        for number, (stage, batch, n) in enumerate(
            [("ingest", 0, 3), ("ingest", 1, 1), ("condition", 0, 3), ("condition", 1, 1)]
        )
    }
    display.plan(jobs, "4 recordings of 1 person, results in out")
    return display, stream, clock


def test_the_line_has_stage_recordings_done_and_to_go_time_left_and_faults(tmp_path):
    display, _, clock = started(tmp_path)
    display.start(0)
    Progress(tmp_path / "ingest-0.log", "ingest people-0").count("a degraded", 1, 3, fault=True)
    clock.now += 10
    assert str(display.status()).startswith("ingest: 1 of 4 recordings, 3 to go; about ")
    assert str(display.status()).endswith(" left; 1 fault so far")
    display.finish(0)
    display.start(1)
    status = display.status()
    assert (status.done, status.of, status.faults) == (3, 4, 1)
    # one of four equal jobs took 10 s: three are left
    assert status.left_s == pytest.approx(30.0)


def test_a_count_of_an_earlier_run_is_not_taken_for_this_one(tmp_path):
    Progress(tmp_path / "ingest-0.log", "ingest people-0").count("a degraded", 2, 3, fault=True)
    display, _, _ = started(tmp_path)
    display.start(0)
    assert (display.status().done, display.status().faults) == (0, 0)


def test_a_job_of_several_stages_is_shown_by_the_one_it_is_in(tmp_path):
    display, _, clock = started(tmp_path)
    display.start(2)
    progress = Progress(tmp_path / "condition-0.log", "condition people-0").of("segment")
    progress.count("a", 2, 3)
    clock.now += 1
    assert str(display.status()).startswith("segment: 2 of 4 recordings, 2 to go; ")
    assert display.status().share == pytest.approx(0.1 / 4)


def test_jobs_that_share_no_recordings_are_counted_themselves(tmp_path):
    display = Display(io.StringIO(), bar=False)
    kinds = {
        n: Planned("figures", None, 4, 1.0, tmp_path / f"{n}.log", kind) for n, kind in enumerate(("gait", "bench"))
    }
    display.plan(kinds, "4 recordings of 1 person")
    display.start(0)
    display.finish(0)
    display.start(1)
    assert str(display.status()).startswith("figures: 1 of 2 parts, 1 to go; ")
    assert kinds[1].title == "figures bench"


def test_plain_lines_are_few(tmp_path):
    display, stream, clock = started(tmp_path, seconds=600.0)
    display.start(0)
    for second in range(600):
        clock.now += 1
        if second == 300:
            display.finish(0)
            display.start(2)
        display.tick()
    lines = stream.getvalue().splitlines()
    assert 3 <= len(lines) <= 15
    assert sum("condition: " in line for line in lines) >= 1


def test_a_failure_has_its_reason_and_its_log_and_is_told_once(tmp_path):
    display, stream, _ = started(tmp_path)
    log = tmp_path / "ingest-0.log"
    display.start(0)
    Progress(log, "ingest people-0").fail("ValueError: no such unit")
    display.hint("Command '...' returned non-zero exit status 1.")
    for _ in range(2):
        display.fail(0, "ingest", [str(log)])
    display.close()
    first, last = stream.getvalue().splitlines()
    assert first == f"failed: ingest people-0: ValueError: no such unit; its log: {log}"
    assert last == "stopped after 1 s: 1 job failed, 3 jobs not done; the same command goes on from here"


@pytest.mark.parametrize("hint", ["returned non-zero exit status 137.", "died with <Signals.SIGKILL: 9>."])
def test_a_job_that_was_killed_is_told_with_what_to_do(tmp_path, hint):
    display, stream, _ = started(tmp_path)
    display.start(0)
    Progress(tmp_path / "ingest-0.log", "ingest people-0").say("starts")
    display.hint(f"Command 'python' {hint}")
    display.fail(0, "ingest", [str(tmp_path / "ingest-0.log")])
    assert "failed: ingest people-0: it was killed, most likely because memory ran out; run fewer" in stream.getvalue()


def test_another_reason_of_the_engine_is_passed_on_in_one_line(tmp_path):
    display, stream, _ = started(tmp_path)
    display.hint("Job 0 completed successfully,\nbut some output files are missing.")
    display.fail(0, "ingest", [])
    assert "ingest people-0: Job 0 completed successfully, but some output files are missing." in stream.getvalue()


def test_the_end_says_what_was_done(tmp_path):
    display, stream, clock = started(tmp_path)
    for number in range(4):
        display.start(number)
        display.finish(number)
    clock.now += 200
    display.close()
    display.close()
    assert stream.getvalue() == "done in 3 min: 4 recordings of 1 person, results in out; no new faults found\n"


def test_without_a_plan_nothing_is_shown_but_messages(tmp_path):
    stream = io.StringIO()
    display = Display(stream, bar=False)
    display.tick()
    display.say("Nothing to be done")
    display.say("Nothing to be done")
    display.close()
    assert stream.getvalue() == "Nothing to be done\n"


def test_on_a_terminal_there_is_a_bar_and_messages_stay_above_it(tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.setenv("TERM", "xterm")

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    stream = Terminal()
    display = Display(stream, bar=True)
    display.plan({0: Planned("ingest", None, 1, 1.0, tmp_path / "a.log")}, "1 recording of 1 person")
    display.start(0)
    display.tick()
    display.say("failed: [red] herring")
    display.close()
    written = stream.getvalue()
    assert "ingest: 0 of 1 recording, 1 to go" in written
    assert "failed: [red] herring" in written
    assert "\x1b[" in written
    assert written.splitlines()[-1].endswith("1 job not done; the same command goes on from here")


def test_durations_and_long_messages_are_short():
    assert [duration_words(s) for s in (0.2, 59, 60, 3599, 7800)] == ["1 s", "59 s", "1 min", "1 h 0 min", "2 h 10 min"]
    assert one_line("a\n  b") == "a b"
    assert len(one_line("x" * 10_000)) < 700
