"""What the pipeline costs, beside what it must not cost more than: ``make bench``.

Simulated studies are made once in a temporary folder and not timed. Each measurement runs in a process of its own, so
that its peak memory is its own. CPU time is the main number: other work on the machine hardly changes
it. Starting Python and loading modules counts for the engine and the one process beside it, and not for the rest,
where the least of a few runs is taken. Nothing here fails: a speed is a number to look at.
"""

from __future__ import annotations

import gzip
import json
import math
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
CHAIN_TARGET, ENGINE_TARGET = 6.0, 1.5
GAIT_TARGET_S, SWALLOW_TARGET_S, SWALLOW_TARGET_MB = 1.0, 20.0, 1000.0
REPEATS = 3
BATCHES = 4


# --- measurements, each run as `bench.py MEASUREMENT ARGUMENT...` in a process of its own


def _peak_mb() -> float:
    """Largest resident memory of this process in MB (10^6 bytes).

    Linux hands ``ru_maxrss`` on from the process that started this one, which has simulated a day; what is this
    process's own stands in /proc, and is not known where there is none.
    """
    status = Path("/proc/self/status")
    if not status.is_file():
        return math.nan
    (line,) = (row for row in status.read_text(encoding="utf-8").splitlines() if row.startswith("VmHWM"))
    return int(line.split()[1]) * 1024 / 1e6


def _say(cpu: float, wall: float, **more: float) -> None:
    sys.stdout.write(json.dumps({"cpu": cpu, "wall": wall, "peak": _peak_mb(), **more}) + "\n")


def _least(work: Callable[[], object], repeats: int = REPEATS) -> tuple[float, float]:
    """Give the least CPU and wall seconds of some runs."""
    cpu, wall = [], []
    for _ in range(repeats):
        began = time.process_time(), time.perf_counter()
        work()
        cpu.append(time.process_time() - began[0])
        wall.append(time.perf_counter() - began[1])
    return min(cpu), min(wall)


def _stages(root: Path, folder: Path, batches: int = 1, upto: str = "features") -> dict[str, float]:
    """Run the per-batch stages as the scripts of the rules do; give the CPU seconds of each."""
    from strainstudy.batches import group_recordings
    from strainstudy.bends.parameters import BendParameters
    from strainstudy.calibrate.parameters import CalibrateParameters
    from strainstudy.condition.parameters import ConditionParameters
    from strainstudy.gait.parameters import GaitParameters
    from strainstudy.gait.window_parameters import FeatureParameters
    from strainstudy.ingest.parameters import IngestParameters
    from strainstudy.intake.start import reference_rater
    from strainstudy.jobs import Progress
    from strainstudy.stages import calibrate, condition, features, ingest, segment
    from strainstudy.study import load_study
    from strainstudy.swallow.parameters import SwallowParameters

    began = time.process_time()
    study = load_study(root)
    rater = reference_rater(study, None)
    seconds = {"check": time.process_time() - began}

    @contextmanager
    def timed(stage: str) -> Iterator[Progress]:
        began = time.process_time()
        yield Progress(folder / f"{stage}.log", stage)
        seconds[stage] = seconds.get(stage, 0.0) + time.process_time() - began

    for batch, recordings in group_recordings(study.recordings.values(), batches).items():
        own = folder / batch
        with timed("ingest") as progress:
            ingest.run(
                recordings,
                parameters=IngestParameters(),
                strict=False,
                traces=own / "raw.parquet",
                quality=own / "quality.json",
                progress=progress,
            )
        with timed("condition") as progress:
            condition.run(
                recordings,
                study.sensors,
                parameters=ConditionParameters(),
                raw=own / "raw.parquet",
                traces=own / "conditioned.parquet",
                notes=own / "condition.json",
                progress=progress,
            )
        with timed("calibrate") as progress:
            calibrate.run(
                recordings,
                study.sensors,
                parameters=CalibrateParameters(),
                drift_shortest_period_s=ConditionParameters().drift_shortest_period_s,
                reference_rater=rater,
                answers={},
                traces=own / "conditioned.parquet",
                condition_notes=own / "condition.json",
                signals=own / "signals.parquet",
                maps=own / "maps.json",
                calibrations=own / "calibrations.json",
                notes=own / "calibrate.json",
                progress=progress,
            )
        if upto == "calibrate":
            continue
        with timed("segment") as progress:
            segment.run(
                recordings,
                gait=GaitParameters(),
                bends=BendParameters(),
                swallow=SwallowParameters(),
                lag_s=CalibrateParameters().lag_s,
                flexion_stretches=True,
                signals=own / "signals.parquet",
                condition_notes=own / "condition.json",
                calibrate_notes=own / "calibrate.json",
                outputs={name: own / f"{name}.parquet" for name in segment.FRAMES},
                notes=own / "segment.json",
                progress=progress,
            )
        with timed("features") as progress:
            features.run(
                recordings,
                parameters=FeatureParameters(),
                signals=own / "signals.parquet",
                strides=own / "strides.parquet",
                notes=own / "segment.json",
                windows=own / "windows.parquet",
                progress=progress,
            )
    return seconds


def chain(root: str, folder: str, repeats: str) -> None:
    """Time raw file to features; the check of the sheets, which a study has once, is left out."""
    rounds: list[dict[str, float]] = []

    def work() -> None:
        rounds.append(_stages(Path(root), Path(folder)))

    cpu, wall = _least(work, int(repeats))
    check = min(seconds.pop("check") for seconds in rounds)
    _say(cpu - check, wall - check, **{stage: min(seconds[stage] for seconds in rounds) for stage in rounds[0]})


def floor(file: str, fs: str, out: str, repeats: str) -> None:
    """Time the least that can be done with the same file: read, filter each channel once, write."""
    import pyarrow as pa
    import pyarrow.csv as pcsv
    import pyarrow.parquet as pq
    from scipy.signal import butter, sosfiltfilt

    sections = butter(2, 6.0, fs=float(fs), output="sos")

    def work() -> None:
        table = pcsv.read_csv(file, pcsv.ReadOptions(use_threads=False))
        filtered = {n: pa.array(sosfiltfilt(sections, table[n].to_numpy())) for n in table.column_names[1:]}
        pq.write_table(pa.table({"time_s": table["time_s"], **filtered}), out)

    _say(*_least(work, int(repeats)))


def one_process(root: str, folder: str) -> None:
    """Do in one process what the engine does in jobs."""
    _stages(Path(root), Path(folder), BATCHES)


def prepare(root: str, folder: str) -> None:
    """Make the signals that detection is timed on."""
    _stages(Path(root), Path(folder), upto="calibrate")


def _signals(folder: str) -> dict[str, object]:
    from strainstudy.io.store import iter_traces

    (path,) = Path(folder).rglob("signals.parquet")
    return {trace.tracked_point: trace for trace in iter_traces(path, quantities=("response",))}


def gait(folder: str) -> None:
    """Time the detection of gait, from arrays to strides."""
    from strainstudy.calibrate.parameters import CalibrateParameters
    from strainstudy.gait.parameters import GaitParameters
    from strainstudy.gait.walk import detect_walk
    from strainstudy.stages.bodies import knees_of

    parameters = GaitParameters()
    knees, fs = knees_of(_signals(folder))
    lags = dict.fromkeys(knees, CalibrateParameters().lag_s)
    strides = len(detect_walk(knees, fs, parameters, lags=lags).strides)
    cpu, wall = _least(lambda: detect_walk(knees, fs, parameters, lags=lags))
    _say(cpu, wall, hours=len(knees["left"]) / fs / 3600, found=strides)


def swallow(folder: str) -> None:
    """Time the detection of swallow candidates with their features."""
    from strainstudy.swallow.candidates import detect_together
    from strainstudy.swallow.parameters import SwallowParameters

    (trace,) = _signals(folder).values()
    found = []

    def work() -> None:
        (candidates,) = detect_together([(trace["response"], trace.sampling_frequency)], SwallowParameters())
        found.append(len(candidates))

    cpu, wall = _least(work, 1)
    _say(cpu, wall, hours=trace.n / trace.sampling_frequency / 3600, found=found[0])


# --- studies, processes, table


def _study(folder: Path, **how: object) -> Path:
    from strainstudy_simulator.cohort import write_study

    return write_study(folder, bench=False, faults=False, **how)


def _person_study(folder: Path, minutes: float, fs: float) -> tuple[Path, Path]:
    """Make one person's session: half a minute of holds for the angle maps, and both knees with throat at length.

    The long recording is given as plain text, so that unpacking is no part of reading.
    """
    # The second person of a simulated study is the first who has a free recording beside other tasks.
    root = _study(folder, people=2, sessions=1, minutes=minutes, tasks=("bend", "free"), sampling_frequency=fs)
    for sheet in ("participants.tsv", "recordings.tsv", "channels.tsv"):
        rows = (root / sheet).read_text(encoding="utf-8").splitlines(keepends=True)
        kept = [row for row in rows if "sub-01" not in row]
        (root / sheet).write_text("".join(kept).replace("_free.csv.gz", "_free.csv"), encoding="utf-8")
    for labels in root.glob("labels/sub-01*"):
        shutil.rmtree(labels)
    (packed,) = root.rglob("sub-02*_free.csv.gz")
    plain = packed.with_suffix("")
    plain.write_bytes(gzip.decompress(packed.read_bytes()))
    return root, plain


def _measure(*arguments: object) -> dict[str, float]:
    command = [sys.executable, __file__, *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, **ONE_THREAD})
    if done.returncode:
        raise RuntimeError(f"{arguments[0]}: {done.stderr[-2000:]}")
    return json.loads(done.stdout.splitlines()[-1]) if done.stdout else {}


def _children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _whole(command: list[str], folder: Path) -> dict[str, float]:
    """Give CPU seconds of a process with all it starts, and wall seconds."""
    began = _children(), time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, **ONE_THREAD}, cwd=folder)
    if done.returncode:
        raise RuntimeError(f"{command[1]}: {done.stderr[-2000:]}")
    return {"cpu": _children() - began[0], "wall": time.perf_counter() - began[1]}


@dataclass(frozen=True)
class Row:
    """A line of the table; ``peak`` in MB, ``met`` is None where nothing was promised."""

    what: str
    cpu: float
    wall: float
    peak: float | None = None
    said: str = ""
    met: bool | None = None

    def text(self) -> str:
        """Lay the row out."""
        peak = "" if self.peak is None else f"{self.peak:.0f}"
        met = "" if self.met is None else ("met" if self.met else "NOT MET")
        return f"{self.what:<56}{self.cpu:8.2f}{self.wall:8.2f}{peak:>8}  {self.said:<45}{met}".rstrip()


def bench_chain(folder: Path, fs: float, repeats: int) -> Iterator[Row]:
    """Chain of stages beside its floor."""
    root, file = _person_study(folder / "study", 30, fs)
    # Before and after, so that a busy moment of the machine does not flatter the chain.
    floors = [_measure("floor", file, fs, folder / "floor.parquet", repeats)]
    whole = _measure("chain", root, folder / "results", repeats)
    floors.append(_measure("floor", file, fs, folder / "floor.parquet", repeats))
    least = {name: min(one[name] for one in floors) for name in floors[0]}
    words = f"30 min x 3 channels, {fs:g} Hz"
    yield Row(f"floor: read, filter, write; {words}", least["cpu"], least["wall"], least["peak"])
    cpu, wall = whole["cpu"] / least["cpu"], whole["wall"] / least["wall"]
    said = f"{cpu:.1f} x floor (wall {wall:.1f} x), target {CHAIN_TARGET:g} x"
    yield Row(f"chain: raw to features; {words}", whole["cpu"], whole["wall"], whole["peak"], said, cpu <= CHAIN_TARGET)
    parts = ("ingest", "calibrate", "condition", "segment", "features")
    yield Row("  of it " + ", ".join(f"{part} {whole[part]:.2f}" for part in parts), 0, 0)


def bench_engine(folder: Path) -> Iterator[Row]:
    """Jobs of the engine beside one process."""
    root = _study(folder / "study", people=25, sessions=2, tasks=("walk", "swallow"))
    alone = _whole([sys.executable, str(Path(__file__)), "one_process", str(root), str(folder / "alone")], folder)
    settings = {"study": str(root), "results": "results", "norms": str(ROOT / "config/norms.tsv"), "batches": BATCHES}
    (folder / "study.yaml").write_text(json.dumps(settings), encoding="utf-8")
    command = [sys.executable, "-m", "snakemake", "--snakefile", str(ROOT / "Snakefile"), "--directory", str(folder)]
    command += ["--configfile", "study.yaml", "--cores", "2", "--scheduler", "greedy", "--until", "features"]
    engine = _whole(command, folder)
    yield Row("one process: 100 recordings, raw to features", alone["cpu"], alone["wall"])
    cpu, wall = engine["cpu"] / alone["cpu"], engine["wall"] / alone["wall"]
    said = f"{cpu:.2f} x one process (wall {wall:.2f} x), {ENGINE_TARGET:g} x"
    yield Row("engine: the same in jobs on 2 cores", engine["cpu"], engine["wall"], None, said, cpu <= ENGINE_TARGET)


def bench_gait(folder: Path) -> Iterator[Row]:
    """An hour of walking."""
    root = _study(folder / "study", people=1, sessions=1, minutes=60, tasks=("walk",), sampling_frequency=100)
    _measure("prepare", root, folder / "results")
    got = _measure("gait", folder / "results")
    said = f"{got['hours']:.2f} h, {got['found']:.0f} strides; target {GAIT_TARGET_S:g} s"
    yield Row("gait detection, 2 knees, 100 Hz", got["cpu"], got["wall"], got["peak"], said, got["cpu"] < GAIT_TARGET_S)


def bench_swallow(folder: Path) -> Iterator[Row]:
    """A day of a throat."""
    root = _study(folder / "study", people=1, sessions=1, minutes=1440, tasks=("swallow",), sampling_frequency=100)
    _measure("prepare", root, folder / "results")
    got = _measure("swallow", folder / "results")
    said = f"{got['hours']:.1f} h, {got['found']:.0f} found; {SWALLOW_TARGET_S:g} s, {SWALLOW_TARGET_MB:g} MB"
    met = got["cpu"] < SWALLOW_TARGET_S and got["peak"] < SWALLOW_TARGET_MB
    yield Row("swallow candidates, 100 Hz", got["cpu"], got["wall"], got["peak"], said, met)


def main() -> None:
    """Run every measurement and print the table as it grows."""
    load = os.getloadavg()[0]
    sys.stdout.write(f"{os.cpu_count()} cores, load {load:.1f}; targets are judged by CPU time\n")
    sys.stdout.write(f"{'':<56}{'CPU s':>8}{'wall s':>8}{'MB':>8}\n")
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        for rows in (
            bench_chain(folder / "100", 100.0, REPEATS),
            bench_chain(folder / "1000", 1000.0, REPEATS),
            bench_engine(folder / "engine"),
            bench_gait(folder / "gait"),
            bench_swallow(folder / "swallow"),
        ):
            try:
                for row in rows:
                    sys.stdout.write((row.text() if row.cpu else row.what) + "\n")
                    sys.stdout.flush()
            except RuntimeError as error:
                sys.stdout.write(f"could not be measured: {error}\n")


if __name__ == "__main__":
    measurements = {f.__name__: f for f in (chain, floor, one_process, prepare, gait, swallow)}
    if len(sys.argv) > 1:
        measurements[sys.argv[1]](*sys.argv[2:])
    else:
        main()
