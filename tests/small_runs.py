"""A small study worked through by the real engine, so that a run can be killed, repeated and compared byte for byte."""

from __future__ import annotations

import hashlib
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import yaml
from strainstudy.io.running import JOBS, RUN
from strainstudy_simulator.cohort import write_study

__all__ = ["MAY_DIFFER", "ROOT", "SMALL", "Run", "contents", "different", "jobs_of", "kill", "small_study"]

ROOT = Path(__file__).parents[1]
SMALL = {
    "gait": {"bootstrap_resamples": 200},
    "classify": {"permutations": 0, "families": ["logistic_regression"], "bootstrap_resamples": 200},
    "validate": {"bootstrap_draws": 200},
}
"""Settings that make training and intervals quick; nothing else depends on them."""
MAY_DIFFER = {RUN, JOBS}
"""Files of a results folder that tell of the run and not of the study."""
_SCRIPT = re.compile(r"\.snakemake/scripts/tmp\w+\.(\w+)\.py")


def small_study(folder: Path, people: int = 3) -> Path:
    """Write a study of a few people with labels of walks and bends."""
    return write_study(
        folder, people=people, sessions=1, minutes=0.4, tasks=("walk", "bend"), bench=False, faults=False
    )


@dataclass
class Run:
    """A working folder, its settings and the one command that is given again and again.

    Parameters
    ----------
    folder : Path
        Working folder; made if it is not there.
    study : Path
    targets : tuple of str
        What follows in the command line.
    settings : mapping
        Beside `SMALL`.
    cores : int
    environment : mapping
        Added to that of this process.
    """

    folder: Path
    study: Path
    targets: tuple[str, ...] = ()
    settings: Mapping[str, object] = field(default_factory=dict)
    cores: int = 2
    environment: Mapping[str, str] = field(default_factory=dict)

    @property
    def results(self) -> Path:
        """Its results folder."""
        return Path(os.path.join(self.folder, str(self.settings.get("results", "results"))))  # noqa: PTH118

    def start(self, profile: str = "default") -> subprocess.Popen[bytes]:
        """Give the command; what it says is in ``said.log``."""
        self.folder.mkdir(parents=True, exist_ok=True)
        config = {"study": str(self.study), "results": "results", "norms": str(ROOT / "config/norms.tsv")}
        file = self.folder / "study.yaml"
        text = yaml.safe_dump({**config, **SMALL, **self.settings})
        if not file.is_file() or file.read_text(encoding="utf-8") != text:
            file.write_text(text, encoding="utf-8")
        command = [sys.executable, "-m", "snakemake", "--snakefile", str(ROOT / "Snakefile")]
        command += ["--workflow-profile", str(ROOT / "workflow/profiles" / profile)]
        command += ["--cores", str(self.cores)] if profile == "default" else []
        command += ["--directory", str(self.folder), "--configfile", str(file), *self.targets]
        with (self.folder / "said.log").open("ab") as said:
            return subprocess.Popen(
                command,
                stdout=said,
                stderr=said,
                cwd=ROOT,
                start_new_session=True,
                env={**os.environ, **self.environment},
            )

    def finish(self, timeout_s: float = 900, profile: str = "default") -> int:
        """Give the command and wait for its end."""
        return self.start(profile).wait(timeout=timeout_s)

    def said(self) -> str:
        """All that the command ever said."""
        return (self.folder / "said.log").read_text(encoding="utf-8")


def jobs_of(engine: int) -> dict[int, str]:
    """Find the jobs at work that an engine started: process number and stage."""
    found = {}
    for entry in Path("/proc").iterdir():
        try:
            session = (entry / "stat").read_text().rpartition(")")[2].split()[3]
            words = (entry / "cmdline").read_bytes().decode(errors="replace").split("\0")
        except (OSError, IndexError):
            continue
        script = _SCRIPT.search(words[1]) if len(words) > 1 else None
        if session == str(engine) and script is not None:
            found[int(entry.name)] = script[1]
    return found


def kill(engine: subprocess.Popen[bytes], target: str, wait_s: float = 20.0) -> list[str] | None:
    """Kill a run's whole group, its engine alone, or one job; tell what was running, None if there was nothing to kill.

    For a job this waits until there is one.
    """
    jobs = jobs_of(engine.pid)
    until = time.monotonic() + wait_s
    while target == "job" and not jobs and engine.poll() is None and time.monotonic() < until:
        time.sleep(0.02)
        jobs = jobs_of(engine.pid)
    if engine.poll() is not None or (target == "job" and not jobs):
        return None
    running = sorted(jobs.values())
    if target == "group":
        os.killpg(engine.pid, signal.SIGKILL)
    elif target == "engine":
        engine.kill()
    else:
        try:
            os.kill(min(jobs), signal.SIGKILL)
        except ProcessLookupError:
            return None
    return running


def contents(results: Path) -> dict[str, str]:
    """Hash every file of a results folder that tells of the study."""
    return {
        path.relative_to(results).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(results.rglob("*"))
        if path.is_file() and path.name not in MAY_DIFFER
    }


def different(one: Mapping[str, str], other: Mapping[str, str]) -> list[str]:
    """Name the files that are not the same in both."""
    return sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))
