"""What runs again after a change, through the real Snakefile on a tiny study: what depends on the change, no more."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml
from strainstudy.simulate.cohort import write_study

ROOT = Path(__file__).parents[2]
BY_BATCH = {"ingest", "calibrate", "condition", "segment", "features"}
TINY = {"sessions": 1, "minutes": 0.4, "tasks": ("walk",), "bench": False, "faults": False}
AGGREGATES = {"tabulate", "train", "classify", "validate", "report", "provenance"}
SETTINGS = {
    "study": "study",
    "results": "results",
    "norms": str(ROOT / "config/norms.tsv"),
    "gait": {"bootstrap_resamples": 200},
    "classify": {"permutations": 0, "families": ["logistic_regression"], "bootstrap_resamples": 200},
    "validate": {"bootstrap_draws": 200},
}


def snakemake(folder: Path, *arguments: str, **changes: object) -> subprocess.CompletedProcess[str]:
    file = folder / "config.yaml"
    file.write_text(yaml.safe_dump(SETTINGS | changes), encoding="utf-8")
    command = [sys.executable, "-m", "snakemake", "--snakefile", str(ROOT / "Snakefile"), "--cores", "2"]
    command += ["--scheduler", "greedy", "--directory", str(folder), *arguments, "--configfile", str(file)]
    return subprocess.run(command, capture_output=True, text=True, timeout=300, check=False, cwd=ROOT)


def planned(folder: Path, **changes: object) -> dict[str, int]:
    """Jobs that the engine would run now, counted by rule."""
    done = snakemake(folder, "--dry-run", **changes)
    said = done.stdout + done.stderr
    assert done.returncode == 0, said
    table = re.search(r"^job +count\n-.*\n((?:\w+ +\d+\n)+)", said, re.MULTILINE)
    if table is None:
        assert "Nothing to be done" in said
        return {}
    counts = {name: int(count) for name, count in (line.split() for line in table[1].splitlines())}
    return {name: count for name, count in counts.items() if name not in ("all", "total")}


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of two people, worked through once."""
    folder = tmp_path_factory.mktemp("once")
    write_study(folder / "study", people=2, **TINY)
    done = snakemake(folder)
    assert done.returncode == 0, done.stderr[-3000:]
    return folder


@pytest.fixture
def study(finished: Path) -> Iterator[Path]:
    """The finished study, put back afterwards as it was."""
    before = finished.parent / "before"
    shutil.copytree(finished / "study", before)
    yield finished
    shutil.rmtree(finished / "study")
    before.rename(finished / "study")


def test_a_second_run_does_nothing_even_if_every_file_has_a_new_time_stamp(study):
    for path in (study / "study").rglob("*"):
        if path.is_file():
            path.touch()
    assert planned(study) == {}


def test_a_changed_label_of_a_walk_runs_only_what_learns_from_labels_or_is_compared_with_them(study):
    labels = study / "study/labels/sub-01_ses-01_walk/rater1_events.tsv"
    labels.write_text(labels.read_text(encoding="utf-8") + "0.2\t0.5\tartefact\tn/a\tn/a\n", encoding="utf-8")
    assert planned(study) == dict.fromkeys(AGGREGATES - {"tabulate"}, 1)


def test_one_more_person_runs_one_batch_and_the_aggregates(study):
    write_study(study / "study", people=3, **TINY)
    assert planned(study) == dict.fromkeys(BY_BATCH | AGGREGATES, 1)


def test_a_changed_setting_runs_the_stages_that_use_it_and_what_follows(finished):
    validate = SETTINGS["validate"] | {"bootstrap_draws": 300}
    assert planned(finished, validate=validate) == dict.fromkeys({"validate", "report", "provenance"}, 1)


def followers(folder: Path, rule: str) -> list[str]:
    """Rules of the jobs that wait for a rule, before anything has run."""
    drawn = snakemake(folder, "--dag")
    assert drawn.returncode == 0, drawn.stderr[-2000:]
    names = dict(re.findall(r'(\d+)\[label = "(\w+)', drawn.stdout))
    after = re.findall(r"(\d+) -> (\d+)", drawn.stdout)
    return sorted(names[to] for start, to in after if names[start] == rule)


def test_people_wait_for_the_bench_where_their_sensors_were_on_it_and_only_then(tmp_path):
    """The answer of a sensor is undone on people, so a changed bench recording runs those again who wear it."""
    write_study(tmp_path / "study", people=1, **TINY | {"bench": True})
    assert followers(tmp_path, "characterise") == ["condition", "tabulate"]
    for name in ("recordings.tsv", "channels.tsv"):
        sheet = tmp_path / "study" / name
        lines = sheet.read_text(encoding="utf-8").splitlines(keepends=True)
        sheet.write_text("".join(line for line in lines if not line.startswith("knee")), encoding="utf-8")
    assert followers(tmp_path, "characterise") == ["tabulate"]
