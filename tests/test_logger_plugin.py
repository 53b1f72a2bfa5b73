"""What the engine's log events become, with the events as the engine sends them."""

import logging
from types import SimpleNamespace

import pytest
from snakemake_interface_logger_plugins.common import LogEvent
from snakemake_interface_logger_plugins.registry import LoggerPluginRegistry
from snakemake_logger_plugin_strainstudy import LogHandler, Planned, _config_files, announce
from strainstudy.jobs import DISPLAY, Progress


@pytest.fixture
def said(monkeypatch, capsys):
    """A handler and what it writes."""
    monkeypatch.setattr("snakemake_logger_plugin_strainstudy._displays", [])
    monkeypatch.setenv(DISPLAY, "")
    made = []

    def handler(**settings):
        given = {"stdout": False, "quiet": None, "dryrun": False, "verbose": False, "debug_dag": False, **settings}
        made.append(LogHandler(SimpleNamespace(**given), None))
        return made[-1]

    yield handler, lambda: capsys.readouterr().err
    for one in made:
        one.close()


def record(text, level=logging.INFO, **extra):
    made = logging.LogRecord("snakemake", level, "", 0, text, None, None)
    made.__dict__.update(extra)
    return made


def test_the_engine_finds_the_plugin_by_its_name():
    assert LoggerPluginRegistry().is_installed("strainstudy")


def test_a_run_from_its_plan_to_its_end(said, tmp_path):
    make, text_of = said
    handler = make()
    jobs = {
        1: Planned("ingest", "people-0", 2, 1.0, tmp_path / "a.log"),
        2: Planned("ingest", "people-1", 1, 1.0, tmp_path / "b.log"),
    }
    handler.emit(record("Building DAG of jobs..."))
    announce(jobs, "3 recordings of 1 person, results in out")
    handler.emit(record(" Rule: ingest, Jobid: 1", event=LogEvent.JOB_INFO, jobid=1))
    handler.emit(record("Finished", event=LogEvent.JOB_FINISHED, job_id=1))
    handler.emit(record(" Rule: ingest, Jobid: 2", event=LogEvent.JOB_INFO, jobid=2))
    Progress(tmp_path / "b.log", "ingest people-1").fail("recording walk-2: no samples")
    text = "CalledProcessError in file ingest.smk, line 19:\nCommand 'python x' returned non-zero exit status 1."
    handler.emit(record(text, logging.ERROR, event=LogEvent.ERROR, exception="RuleException"))
    failed = {"jobid": 2, "rule_name": "ingest", "log": [str(tmp_path / "b.log")]}
    handler.emit(record("Error in rule ingest, jobid: 2", logging.ERROR, event=LogEvent.JOB_ERROR, **failed))
    last = "WorkflowError:\nAt least one job did not complete successfully."
    handler.emit(record(last, logging.ERROR, event=LogEvent.ERROR, exception="WorkflowError"))
    handler.close()
    assert text_of().splitlines() == [
        f"failed: ingest people-1: recording walk-2: no samples; its log: {tmp_path}/b.log",
        "stopped after 1 s: 1 job failed; the same command goes on from here",
    ]


@pytest.mark.parametrize(
    ("text", "level", "shown"),
    [
        ("Nothing to be done (all requested files are present).", logging.INFO, True),
        ("Using shell: /usr/bin/bash", logging.INFO, False),
        ("Job stats:\njob  count", logging.INFO, False),
        ("MissingInputException in rule ingest:\nMissing input files:\n  a.csv", logging.ERROR, True),
        ("The flag x is deprecated.", logging.WARNING, True),
        ("LockException:\nError: Directory cannot be locked. Please make sure ...", logging.ERROR, True),
    ],
)
def test_messages_of_the_engine_come_through_in_one_line_if_they_tell_something(said, text, level, shown):
    make, text_of = said
    make().emit(record(text, level))
    assert len(text_of().splitlines()) == shown


def test_a_locked_folder_is_told_with_its_remedy(said):
    make, text_of = said
    make().emit(
        record("LockException:\nError: Directory cannot be locked. Please", logging.ERROR, event=LogEvent.ERROR)
    )
    told = text_of()
    assert "another run is going on in this working folder" in told
    assert "make resume" in told


def test_settings_that_the_engine_cannot_read_are_told_with_their_line(said, tmp_path, monkeypatch):
    make, text_of = said
    (tmp_path / "mine.yaml").write_text("study: [a\nresults: b\n", encoding="utf-8")
    monkeypatch.setattr("sys.argv", ["snakemake", "--cores", "2", "--configfile", str(tmp_path / "mine.yaml")])
    text = "WorkflowError:\nConfig file is not valid JSON or YAML. In case of YAML, make sure to not mix whitespace."
    make().emit(record(text, logging.ERROR, event=LogEvent.ERROR, exception="WorkflowError"))
    assert f"{tmp_path}/mine.yaml, row 2: not YAML" in text_of()


def test_settings_files_are_found_in_a_command_line():
    assert _config_files(["--cores", "2", "--configfile", "a", "b", "--unlock", "c"]) == ["a", "b"]
    assert _config_files(["--configfile=a", "--cores=2", "all"]) == ["a"]


def test_a_dry_run_is_as_the_engine_shows_it(said):
    make, text_of = said
    handler = make(dryrun=True)
    assert not handler.has_filter
    handler.emit(record("Job stats:"))
    assert text_of() == "Job stats:\n"


def test_a_quiet_run_tells_faults_only(said, tmp_path):
    make, text_of = said
    handler = make(quiet={"progress"})
    announce({1: Planned("ingest", None, 1, 1.0, tmp_path / "a.log")}, "1 recording")
    handler.emit(record("Missing input files", logging.ERROR, event=LogEvent.ERROR))
    handler.close()
    assert text_of() == "Missing input files\n"
