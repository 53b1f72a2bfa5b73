"""Studies with less than the demo, through the real Snakefile: what was not there is not said to have failed."""

from __future__ import annotations

import html
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
import yaml
from strainstudy_simulator.cohort import write_study

ROOT = Path(__file__).parents[2]
QUICK = {
    "study": "study",
    "results": "results",
    "norms": str(ROOT / "config/norms.tsv"),
    "gait": {"bootstrap_resamples": 200},
    "classify": {"permutations": 0, "families": ["logistic_regression"], "bootstrap_resamples": 200},
    "validate": {"bootstrap_draws": 200},
}


def run_workflow(folder: Path) -> subprocess.CompletedProcess[str]:
    file = folder / "study.yaml"
    file.write_text(yaml.safe_dump(QUICK), encoding="utf-8")
    command = [sys.executable, "-m", "snakemake", "report", "paper", "--snakefile", str(ROOT / "Snakefile")]
    command += ["--cores", "2", "--scheduler", "greedy", "--directory", str(folder), "--configfile", str(file)]
    return subprocess.run(command, capture_output=True, text=True, timeout=600, check=False, cwd=ROOT)


def angles_alone(study: Path) -> None:
    """Leave of a study the knee angles that goniometers gave, in degrees, and no sensor."""
    sheets = {name: pd.read_csv(study / f"{name}.tsv", sep="\t", dtype=str, keep_default_na=False)
              for name in ("recordings", "channels", "participants", "sensors")}  # fmt: skip
    recordings, channels, people = sheets["recordings"], sheets["channels"], sheets["participants"]
    known = [any("goniometer" in name for name in pd.read_csv(study / file, nrows=1)) for file in recordings["file"]]
    recordings = recordings[known]
    sheets["recordings"] = recordings
    sheets["channels"] = channels[channels["units"] == "deg"]
    sheets["participants"] = people[people["participant_id"].isin(recordings["participant_id"])]
    sheets["sensors"] = sheets["sensors"].iloc[:0]
    for name, frame in sheets.items():
        frame.to_csv(study / f"{name}.tsv", sep="\t", index=False)
    for folder in (study / "labels").iterdir():
        if folder.name not in set(recordings["recording_id"]):
            shutil.rmtree(folder)


def page_words(results: Path, start: str, end: str) -> str:
    """Text of the report from one anchor to another."""
    page = (results / "report.html").read_text(encoding="utf-8")
    part = page[page.index(f'id="{start}"') : page.index(f'id="{end}"')]
    return " ".join(html.unescape(re.sub(r"<(script|style|svg).*?</\1>|<[^>]+>", " ", part, flags=re.DOTALL)).split())


@pytest.fixture(scope="module", params=["one person", "throats", "degrees"])
def small(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    base = {"sessions": 1, "bench": False, "faults": False}
    if request.param == "one person":
        write_study(folder / "study", people=1, minutes=0.4, tasks=("walk", "bend"), **base)
    elif request.param == "throats":
        write_study(folder / "study", people=3, minutes=0.5, tasks=("swallow",), **base)
    else:
        write_study(folder / "study", people=4, minutes=0.4, tasks=("walk",), **base)
        angles_alone(folder / "study")
    done = run_workflow(folder)
    assert done.returncode == 0, done.stderr[-3000:]
    return request.param, folder / "results"


def test_what_was_not_recorded_labelled_or_in_people_enough_is_told_as_that(small):
    kind, results = small
    whole = page_words(results, "summary", "methods")
    short = page_words(results, "shortfalls", "methods")
    assert not re.search(r"\b0 people|\b1 people|\b1 visits|Nothing to show", whole)
    assert "does not agree with labels" not in short.lower()
    methods = (results / "paper/methods.md").read_text(encoding="utf-8")
    told = page_words(results, "methods", "cautions")
    if kind == "throats":
        assert "No knee was recorded, or none could be used: nothing is said of gait and knee angles." in short
        for words in ("No bend recordings", "limping gait", "amplitudes"):
            assert words not in short, words
        assert "No knee was recorded: no gait was looked for." in told
        assert "initial contacts" not in methods.partition("# Statistics")[2]
        assert "3 piezoresistive strain sensors were used, 3 over the throat" in methods
        assert "6.0 Hz for knees" not in methods
        return
    assert "No throat was recorded, or none could be used: nothing is said of swallows." in short
    assert "No throat was recorded: no swallow was looked for." in told
    assert "andidates of swallows" not in methods
    assert "Hz for the throat" not in methods
    assert "No labels of" not in short
    assert "Too few people for a classifier of gait to be tested" in short
    assert "Too few people to say whether these agree with labels" in short
    assert "people it never saw" not in whole
    if kind == "degrees":
        assert "no angle in degrees" not in short
        assert "Knee angles were recorded in degrees: there was nothing to calibrate." in told
        assert "strain sensor" not in methods.partition("## Signal processing")[0]
    else:
        assert "No bend recordings" not in short
        assert "1 participant took part" in methods
        assert "came for 1 session;" in methods
