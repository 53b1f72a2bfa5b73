"""What a cohort costs: everything, a changed label, nothing to do, one more person; and how it grows with people.

The study is made once and not timed. What is promised of a cohort is promised of wall time on two cores, so the load of
the machine stands beside the table.
"""

from __future__ import annotations

import json
import math
import multiprocessing
import re
import shutil
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from benching import ROOT, Row, measure, say

EVERYTHING_S, LABEL_S, NOTHING_S, PERSON_S = 90.0, 45.0, 5.0, 10.0
"""Wall seconds promised of 100 people with 852 recordings on two cores; of a person, before training."""
NOTHING_OF_MANY_S = 15.0
"""Of 10,000 recordings."""
ENGINE_TARGET, SLOPE_TARGET, IMPORTS_S, JOB_MB = 1.5, 1.05, 0.6, 1000.0
CORES = 2
CUTOFF_HZ = 6.0
_SUFFIXES = (".csv", ".csv.gz")


def _filter_one(file: str, out: str) -> None:
    import numpy as np
    import pyarrow as pa
    import pyarrow.csv as pcsv
    import pyarrow.parquet as pq
    from scipy.signal import butter, sosfiltfilt

    try:
        table = pcsv.read_csv(file, pcsv.ReadOptions(use_threads=False))
    except (pa.ArrowInvalid, OSError):
        return
    numbers = [name for name in table.column_names if pa.types.is_floating(table[name].type)]
    if table.num_rows < 100 or not numbers:
        return
    fs = 1 / max(float(np.median(np.diff(table[numbers[0]].to_numpy()[:1000]))), 1e-6)
    sections = butter(2, min(CUTOFF_HZ, 0.4 * fs), fs=fs, output="sos")
    columns = {name: pa.array(sosfiltfilt(sections, np.nan_to_num(table[name].to_numpy()))) for name in numbers[1:]}
    pq.write_table(pa.table({"time": table[numbers[0]], **columns}), out)


def cohort_floor(root: str, out: str) -> None:
    """Time the least that can be done with the text files of a study: read, filter, write, by warm workers."""
    files = sorted(str(path) for path in Path(root).rglob("raw/**/*") if path.name.endswith(_SUFFIXES))
    Path(out).mkdir()
    work = [(file, f"{out}/{number}.parquet") for number, file in enumerate(files)]
    with multiprocessing.get_context("fork").Pool(CORES) as pool:
        pool.starmap(_filter_one, work[:CORES], chunksize=1)
        began = time.perf_counter()
        pool.starmap(_filter_one, work, chunksize=4)
        wall = time.perf_counter() - began
    say(math.nan, wall, math.nan, files=len(files))


def imports_of(script: str) -> str:
    """Take the imports of a job's script, as a program of their own."""
    lines = (ROOT / "workflow/scripts" / script).read_text(encoding="utf-8").splitlines()
    return "\n".join(line for line in lines if re.match(r"(from|import) ", line))


def disk_mb(folder: Path) -> float:
    """Add up the files of a folder, in MB (10^6 bytes)."""
    return sum(path.lstat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6


class Cohort:
    """A study with its results by one checkout."""

    def __init__(self, folder: Path, root: Path, checkout: Path, results: str) -> None:
        self.folder, self.checkout, self.results = folder / results, checkout, folder / results / "results"
        self.folder.mkdir()
        norms = str(checkout / "config/norms.tsv")
        settings = {"study": str(root), "results": "results", "norms": norms}
        (self.folder / "study.yaml").write_text(json.dumps(settings), encoding="utf-8")

    def run(self, *arguments: str) -> dict[str, float]:
        """Run the engine on two cores."""
        words = [sys.executable, "-m", "snakemake", "--snakefile", str(self.checkout / "Snakefile")]
        words += ["--configfile", "study.yaml", "--cores", str(CORES), "--scheduler", "greedy", *arguments]
        return measure("command", self.folder, *words, PYTHONPATH=str(self.checkout / "workflow"))


def withdraw(root: Path, person: str, aside: Path) -> Callable[[], None]:
    """Take a person out of a study, and give what puts them back."""
    aside.mkdir()
    for sheet in ("participants.tsv", "recordings.tsv", "channels.tsv"):
        shutil.copy2(root / sheet, aside / sheet)
        lines = (root / sheet).read_text(encoding="utf-8").splitlines(keepends=True)
        (root / sheet).write_text("".join(line for line in lines if person not in line), encoding="utf-8")
    shutil.move(root / "raw" / person, aside / person)
    labels = sorted(root.glob(f"labels/{person}_*"))
    for one in labels:
        shutil.move(one, aside / one.name)

    def put_back() -> None:
        for sheet in aside.glob("*.tsv"):
            shutil.copy2(sheet, root / sheet.name)
        shutil.move(aside / person, root / "raw" / person)
        for one in labels:
            shutil.move(aside / one.name, one)

    return put_back


def _count(root: Path) -> int:
    return len((root / "recordings.tsv").read_text(encoding="utf-8").splitlines()) - 1


def _promised(what: str, got: dict[str, float], target_s: float, more: str = "") -> Row:
    said = f"{more}wall {got['wall']:.1f} s, target {target_s:g} s"
    return Row(what, got["cpu"], got["wall"], got["peak"], said, got["wall"] <= target_s)


def bench_imports(folder: Path) -> Iterator[Row]:
    """Starting a batch job."""
    folder.mkdir()
    for stage in ("ingest", "derive"):
        words = (folder, sys.executable, "-c", imports_of(f"{stage}.py"))
        path = str(ROOT / "workflow")
        got = min((measure("command", *words, PYTHONPATH=path) for _ in range(3)), key=lambda one: one["cpu"])
        said = f"target {IMPORTS_S:g} s, or one job for stages in sequence"
        yield Row(f"imports of a batch job: {stage}", got["cpu"], got["wall"], got["peak"], said)


def bench_cohort(folder: Path, people: int, grown: Sequence[int], before: Path | None) -> Iterator[Row]:
    """One cohort through everything, and larger ones through what comes before training."""
    from strainstudy_simulator.cohort import write_study

    folder.mkdir()
    root = write_study(folder / "study", people=people + 1)
    put_back = withdraw(root, f"sub-{people + 1:02d}", folder / "aside")
    words = f"{people} people, {_count(root)} recordings"
    least = measure("cohort_floor", root, folder / "floor")
    yield Row(f"floor: read, filter, write; {words}", None, least["wall"], None, f"{CORES} warm workers")
    shutil.rmtree(folder / "floor")
    path = str(ROOT / "workflow")
    script = str(Path(__file__).with_name("bench.py"))
    alone = measure("command", folder, sys.executable, script, "one_process", root, folder / "alone", PYTHONPATH=path)
    shutil.rmtree(folder / "alone")
    yield Row("one process: raw to features", alone["cpu"], alone["wall"], alone["peak"])
    early = Cohort(folder, root, ROOT, "early")
    engine = early.run("--until", "derive")
    ratios = engine["cpu"] / alone["cpu"], engine["wall"] / alone["wall"]
    said = f"{ratios[0]:.2f} x one process (wall {ratios[1]:.2f} x), target {ENGINE_TARGET:g} x"
    met = max(ratios) <= ENGINE_TARGET
    yield Row("engine: the same in jobs", engine["cpu"], engine["wall"], engine["peak"], said, met)
    shutil.rmtree(early.folder)

    (label, *_) = sorted(root.glob("labels/sub-*_walk/*_events.tsv"))
    as_it_was = label.read_bytes()
    checkouts = {"": ROOT} if before is None else {"before: ": before, "": ROOT}
    of_all = [(name, Cohort(folder, root, of, f"whole{k}")) for k, (name, of) in enumerate(checkouts.items())]
    for name, cohort in of_all:
        got = cohort.run()
        yield _promised(f"{name}everything", got, EVERYTHING_S, f"{got['wall'] / least['wall']:.0f} x floor, ")
        size = disk_mb(cohort.results)
        yield Row(f"{name}  largest job", None, None, got["peak"], f"target {JOB_MB:g} MB", got["peak"] <= JOB_MB)
        yield Row(f"{name}  results on disk", None, None, size, f"{size / _count(root):.1f} MB a recording")
        yield _promised(f"{name}nothing to do", cohort.run(), NOTHING_S)
        label.write_bytes(as_it_was + b"0.2\t0.5\tartefact\tn/a\tn/a\n")
        yield _promised(f"{name}a label changed", cohort.run(), LABEL_S)
        label.write_bytes(as_it_was)
    put_back()
    for name, cohort in of_all:
        yield _promised(f"{name}one more person, before training", cohort.run("--until", "tabulate"), PERSON_S)
        shutil.rmtree(cohort.folder)
    shutil.rmtree(root)

    for size in grown:
        yield from _grown(folder / f"of{size}", size, engine["cpu"], people)


def _grown(folder: Path, people: int, cpu_of_few: float, few: int) -> Iterator[Row]:
    """A larger cohort up to training, beside what the smaller one took."""
    from strainstudy_simulator.cohort import write_study

    folder.mkdir()
    root = write_study(folder / "study", people=people)
    many = Cohort(folder, root, ROOT, "many")
    got = many.run("--until", "derive")
    slope = math.log(got["cpu"] / cpu_of_few) / math.log(people / few)
    words = f"{people} people, {_count(root)} recordings"
    said = f"CPU grows with people to the power of {slope:.2f}, target {SLOPE_TARGET:g}"
    yield Row(f"raw to features; {words}", got["cpu"], got["wall"], got["peak"], said, slope <= SLOPE_TARGET)
    yield _promised("  nothing to do", many.run("--until", "derive"), NOTHING_OF_MANY_S, "of 10,000 recordings: ")
    size = disk_mb(many.results)
    yield Row("  results on disk", None, None, size, f"{size / _count(root):.1f} MB a recording")
    shutil.rmtree(folder)
