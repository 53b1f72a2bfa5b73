"""What the pipeline costs, beside what it must not cost more than: ``make bench``.

Simulated studies are made once in a temporary folder and not timed. Each measurement runs in a process of its own, so
that its peak memory is its own. CPU time is the main number: other work on the machine hardly changes
it. Starting Python and loading modules counts for the engine and the one process beside it, and not for the rest,
where the least of a few runs is taken. What is promised of a cohort is promised of wall time. Nothing here fails: a
speed is a number to look at.
"""

from __future__ import annotations

import argparse
import gzip
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, Self

from bench_cohort import bench_cohort, bench_imports, cohort_floor
from benching import Row, command, least, machine, measure, page, say
from strainstudy.jobs import Progress

CHAIN_TARGET = 6.0
GAIT_TARGET_S, SWALLOW_TARGET_S, SWALLOW_TARGET_MB = 1.0, 20.0, 1000.0
REPEATS = 3
PEOPLE, GROWN = 100, (200,)
"""People of the cohort, and of the larger ones that show how it grows."""


# --- measurements, each run as `bench.py MEASUREMENT ARGUMENT...` in a process of its own


class _EnoughError(Exception):
    """The stages wanted are done."""


class _Laps(Progress):
    """Progress that takes the CPU time of each stage, by when the next one begins to speak, and ends before one."""

    def __init__(self, log: Path, before: str | None) -> None:
        super().__init__(log, "bench")
        self.seconds: dict[str, float] = {}
        self._before = before
        self._stage, self._began = "", time.process_time()

    def of(self, stage: str) -> Self:
        """Begin a stage."""
        now = time.process_time()
        self.seconds[self._stage] = self.seconds.get(self._stage, 0.0) + now - self._began
        self._stage, self._began = stage, now
        if stage == self._before:
            raise _EnoughError
        return self


def _stages(root: Path, folder: Path, batches: int | None = 1, before: str | None = None) -> dict[str, float]:
    """Run the per-batch stages as the scripts of the rules do; give the CPU seconds of each."""
    from strainstudy.batches import group_recordings
    from strainstudy.config import load_config
    from strainstudy.intake.start import reference_rater
    from strainstudy.stages import derive, ingest
    from strainstudy.study import load_study

    laps = _Laps(folder / "log.txt", before)
    laps.of("check")
    study = load_study(root)
    rater = reference_rater(study, None)
    _, settings = load_config({})
    for batch, recordings in group_recordings(study.recordings.values(), batches).items():
        own = folder / batch
        ingest.run(
            recordings,
            parameters=settings["ingest"],
            strict=False,
            traces=own / "raw.parquet",
            quality=own / "quality.json",
            progress=laps.of("ingest"),
        )
        derive.run(
            recordings,
            study.sensors,
            settings=settings,
            reference_rater=rater,
            answers={},
            traces=own / "raw.parquet",
            outputs={name: own / f"{name}{end}" for end, names in _OUTPUTS.items() for name in names},
            progress=laps,
        )
    laps.of("")
    del laps.seconds[""]
    return laps.seconds


_OUTPUTS = {
    ".parquet": ("conditioned", "signals", "windows", "events", "states", "strides", "knee_bends", "candidates"),
    ".json": ("condition_notes", "maps", "calibrations", "calibrate_notes", "segment_notes"),
}


def chain(root: str, folder: str, repeats: str) -> None:
    """Time raw file to features; the check of the sheets, which a study has once, is left out."""
    rounds: list[dict[str, float]] = []

    def work() -> None:
        rounds.append(_stages(Path(root), Path(folder)))

    cpu, wall = least(work, int(repeats))
    check = min(seconds.pop("check") for seconds in rounds)
    say(cpu - check, wall - check, **{stage: min(seconds[stage] for seconds in rounds) for stage in rounds[0]})


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

    say(*least(work, int(repeats)))


def one_process(root: str, folder: str) -> None:
    """Do in one process what the engine does in jobs."""
    _stages(Path(root), Path(folder), None)


def prepare(root: str, folder: str) -> None:
    """Make the signals that detection is timed on."""
    with suppress(_EnoughError):
        _stages(Path(root), Path(folder), before="segment")


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
    cpu, wall = least(lambda: detect_walk(knees, fs, parameters, lags=lags), REPEATS)
    say(cpu, wall, hours=len(knees["left"]) / fs / 3600, found=strides)


def swallow(folder: str) -> None:
    """Time the detection of swallow candidates with their features."""
    from strainstudy.swallow.candidates import detect_together
    from strainstudy.swallow.parameters import SwallowParameters

    (trace,) = _signals(folder).values()
    found = []

    def work() -> None:
        (candidates,) = detect_together([(trace["response"], trace.sampling_frequency)], SwallowParameters())
        found.append(len(candidates))

    cpu, wall = least(work, 1)
    say(cpu, wall, hours=trace.n / trace.sampling_frequency / 3600, found=found[0])


# --- studies, processes, table


def _study(folder: Path, **how: Any) -> Path:
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


def bench_chain(folder: Path, fs: float, repeats: int) -> Iterator[Row]:
    """Chain of stages beside its floor."""
    root, file = _person_study(folder / "study", 30, fs)
    # Before and after, so that a busy moment of the machine does not flatter the chain.
    floors = [measure("floor", file, fs, folder / "floor.parquet", repeats)]
    whole = measure("chain", root, folder / "results", repeats)
    floors.append(measure("floor", file, fs, folder / "floor.parquet", repeats))
    lowest = {name: min(one[name] for one in floors) for name in floors[0]}
    words = f"30 min x 3 channels, {fs:g} Hz"
    yield Row(f"floor: read, filter, write; {words}", lowest["cpu"], lowest["wall"], lowest["peak"])
    cpu, wall = whole["cpu"] / lowest["cpu"], whole["wall"] / lowest["wall"]
    said = f"{cpu:.1f} x floor (wall {wall:.1f} x), target {CHAIN_TARGET:g} x"
    yield Row(f"chain: raw to features; {words}", whole["cpu"], whole["wall"], whole["peak"], said, cpu <= CHAIN_TARGET)
    parts = ("ingest", "condition", "calibrate", "segment", "features")
    yield Row("  of it CPU s", said=", ".join(f"{part} {whole[part]:.2f}" for part in parts))


def bench_gait(folder: Path) -> Iterator[Row]:
    """An hour of walking."""
    root = _study(folder / "study", people=1, sessions=1, minutes=60, tasks=("walk",), sampling_frequency=100)
    measure("prepare", root, folder / "results")
    got = measure("gait", folder / "results")
    said = f"{got['hours']:.2f} h, {got['found']:.0f} strides; target {GAIT_TARGET_S:g} s"
    yield Row("gait detection, 2 knees, 100 Hz", got["cpu"], got["wall"], got["peak"], said, got["cpu"] < GAIT_TARGET_S)


def bench_swallow(folder: Path) -> Iterator[Row]:
    """A day of a throat."""
    root = _study(folder / "study", people=1, sessions=1, minutes=1440, tasks=("swallow",), sampling_frequency=100)
    measure("prepare", root, folder / "results")
    got = measure("swallow", folder / "results")
    said = f"{got['hours']:.1f} h, {got['found']:.0f} found; {SWALLOW_TARGET_S:g} s, {SWALLOW_TARGET_MB:g} MB"
    met = got["cpu"] < SWALLOW_TARGET_S and got["peak"] < SWALLOW_TARGET_MB
    yield Row("swallow candidates, 100 Hz", got["cpu"], got["wall"], got["peak"], said, met)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python tests/bench.py", description="Measure speed, memory and disk.")
    parser.add_argument("--people", type=int, default=PEOPLE, help="people of the cohort, default %(default)s")
    parser.add_argument("--grown", type=int, nargs="+", default=GROWN, help="people of the larger cohorts, default 200")
    parser.add_argument("--before", type=Path, help="another checkout, whose cohort is measured in the same run")
    parser.add_argument("--only", choices=PARTS, nargs="+", default=PARTS, help="parts to measure, default all")
    parser.add_argument("--write", type=Path, help="page to write the table to, such as docs/performance.md")
    options = parser.parse_args()
    if min(options.grown) <= options.people:
        parser.error("the larger cohorts must have more people")
    return options


PARTS = ("chain", "detectors", "imports", "cohort")


def _rows(folder: Path, options: argparse.Namespace) -> Iterator[Iterator[Row]]:
    if "chain" in options.only:
        yield bench_chain(folder / "100", 100.0, REPEATS)
        yield bench_chain(folder / "1000", 1000.0, REPEATS)
    if "detectors" in options.only:
        yield bench_gait(folder / "gait")
        yield bench_swallow(folder / "swallow")
    if "imports" in options.only:
        yield bench_imports(folder / "imports")
    if "cohort" in options.only:
        before = None if options.before is None else options.before.resolve()
        yield bench_cohort(folder / "cohort", options.people, options.grown, before)


def main() -> None:
    """Run every measurement, print the table as it grows and write its page if one is named."""
    options = _options()
    loads = [os.getloadavg()[0]]
    sys.stdout.write("\n".join(machine()) + f"\nload {loads[0]:.1f}\n")
    sys.stdout.write(f"{'':<58}{'CPU s':>8}{'wall s':>8}{'MB':>7}\n")
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as temporary:
        for part in _rows(Path(temporary), options):
            try:
                for row in part:
                    rows.append(row)
                    sys.stdout.write(row.text() + "\n")
                    sys.stdout.flush()
            except RuntimeError as error:
                sys.stdout.write(f"could not be measured: {error}\n")
    loads.append(os.getloadavg()[0])
    if options.write is not None:
        head = ["Written by `make bench` with `--write`. Targets are those of two idle cores.", *machine()]
        head.append(f"Load before and after: {loads[0]:.1f}, {loads[1]:.1f} (two measured jobs at a time are 2)")
        options.write.write_text(page(rows, head), encoding="utf-8")


if __name__ == "__main__":
    measurements = {f.__name__: f for f in (chain, floor, one_process, prepare, gait, swallow, cohort_floor, command)}
    if len(sys.argv) > 1 and sys.argv[1] in measurements:
        measurements[sys.argv[1]](*sys.argv[2:])
    else:
        main()
