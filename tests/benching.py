"""What measurements of speed share: a process of its own for each, least of some runs, rows of a table."""

from __future__ import annotations

import json
import math
import os
import platform
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

ROOT = Path(__file__).parents[1]
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


def peak_mb() -> float:
    """Largest resident memory of this process in MB (10^6 bytes).

    Linux hands ``ru_maxrss`` on from the process that started this one, which has simulated a day; what is this
    process's own stands in /proc, and is not known where there is none.
    """
    status = Path("/proc/self/status")
    if not status.is_file():
        return math.nan
    (line,) = (row for row in status.read_text(encoding="utf-8").splitlines() if row.startswith("VmHWM"))
    return int(line.split()[1]) * 1024 / 1e6


def say(cpu: float, wall: float, peak: float | None = None, **more: float) -> None:
    """Hand a measurement to the process that asked for it."""
    told = {"cpu": cpu, "wall": wall, "peak": peak_mb() if peak is None else peak, **more}
    sys.stdout.write(json.dumps(told) + "\n")


def least(work: Callable[[], object], repeats: int) -> tuple[float, float]:
    """Give the least CPU and wall seconds of some runs."""
    cpu, wall = [], []
    for _ in range(repeats):
        began = time.process_time(), time.perf_counter()
        work()
        cpu.append(time.process_time() - began[0])
        wall.append(time.perf_counter() - began[1])
    return min(cpu), min(wall)


def command(folder: str, *words: str) -> None:
    """Measure a command with all that it starts: CPU and wall seconds, memory of the largest process among them.

    In a process of its own, as what was started before would count.
    """
    began = time.perf_counter()
    done = subprocess.run(words, capture_output=True, text=True, cwd=folder)
    wall = time.perf_counter() - began
    if done.returncode:
        raise RuntimeError(f"{' '.join(words)}: {done.stdout[-1000:]}{done.stderr[-3000:]}")
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    say(used.ru_utime + used.ru_stime, wall, used.ru_maxrss * 1024 / 1e6)


def measure(*arguments: object, **environment: str) -> dict[str, float]:
    """Run one measurement of ``bench.py`` in a process of its own."""
    words = [sys.executable, str(ROOT / "tests/bench.py"), *map(str, arguments)]
    done = subprocess.run(words, capture_output=True, text=True, env={**os.environ, **ONE_THREAD, **environment})
    if done.returncode:
        raise RuntimeError(f"{arguments[0]}: {done.stderr[-3000:]}")
    told: dict[str, float] = json.loads(done.stdout.splitlines()[-1]) if done.stdout else {}
    return told


@dataclass(frozen=True)
class Row:
    """A line of the table; ``peak`` in MB, ``met`` is None where nothing was promised."""

    what: str
    cpu: float | None = None
    wall: float | None = None
    peak: float | None = None
    said: str = ""
    met: bool | None = None

    def cells(self) -> list[str]:
        """Write what was measured, each as text."""
        numbers = ["" if value is None else f"{value:.2f}" for value in (self.cpu, self.wall)]
        peak = "" if self.peak is None else f"{self.peak:.0f}"
        met = "" if self.met is None else ("met" if self.met else "NOT MET")
        return [self.what, *numbers, peak, self.said, met]

    def text(self) -> str:
        """Lay the row out for a terminal."""
        what, cpu, wall, peak, said, met = self.cells()
        return f"{what:<58}{cpu:>8}{wall:>8}{peak:>7}  {said:<50}{met}".rstrip()


def machine() -> list[str]:
    """Name what the numbers were measured on."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text(encoding="utf-8").splitlines() if info.is_file() else []
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    packages = ", ".join(f"{name} {version(name)}" for name in ("snakemake", "numpy", "scipy", "pandas", "pyarrow"))
    return [
        f"{os.cpu_count()} cores ({models[0] if models else platform.machine()}), {memory:.0f} GB of memory, "
        f"{platform.system()} {platform.release().partition('-')[0]}",
        f"Python {platform.python_version()}, {packages}",
    ]


def page(rows: Iterable[Row], head: Iterable[str]) -> str:
    """Write the table as a page of the documentation."""
    lines = ["# Performance", "", *(f"{line}  " for line in head), ""]
    lines += ["| what | CPU s | wall s | MB | beside | target |", "|---|--:|--:|--:|---|---|"]
    lines += [f"| {' | '.join(row.cells())} |" for row in rows]
    return "\n".join(lines) + "\n"
