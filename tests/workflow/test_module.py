"""The workflow as a module of another folder's Snakefile, as config/README.md and README.md give it."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
import yaml
from strainstudy.io.ledger import read_ledger
from strainstudy_simulator.cohort import write_study

ROOT = Path(__file__).parents[2]
NORMS = str(ROOT / "config/norms.tsv")


def fenced(guide, start):
    """The one block of a guide that begins so, with the path to this checkout."""
    text = (ROOT / guide).read_text(encoding="utf-8")
    blocks = re.findall(r"^```\w*\n(.*?)^```$", text, flags=re.DOTALL | re.MULTILINE)
    (found,) = [text for text in blocks if text.startswith(start)]
    return found.replace("../strainstudy/workflow", str(ROOT / "workflow"))


def snakemake(folder, *arguments):
    command = [sys.executable, "-m", "snakemake", "--cores", "2", "--scheduler", "greedy", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False, cwd=folder)
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout + done.stderr


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """One person who walks, without labels: the cheapest study that has a table of gait."""
    folder = write_study(
        tmp_path_factory.mktemp("study"), people=1, sessions=1, minutes=0.5, tasks=("walk",), bench=False, faults=False
    )
    shutil.rmtree(folder / "labels")
    return folder


def test_another_folders_snakefile_runs_its_study_and_a_rule_of_its_own_after_ours(study, tmp_path):
    shutil.copytree(study, tmp_path / "my_study")
    settings = {"study": "my_study", "results": "my_results", "norms": NORMS, "batches": 1}
    (tmp_path / "config.yaml").write_text(yaml.safe_dump(settings | {"gait": {"bootstrap_resamples": 200}}))
    (tmp_path / "Snakefile").write_text(
        fenced("config/README.md", "configfile") + fenced("README.md", "rule slow_walks")
    )
    snakemake(tmp_path, "my_tables/slow_walks.tsv")
    table = pd.read_csv(tmp_path / "my_tables/slow_walks.tsv", sep="\t")
    assert list(table.columns) == ["recording_id", "trial_type", "cadence"]
    gait = pd.read_csv(tmp_path / "my_results/tables/gait.tsv", sep="\t")
    assert len(table) == (gait["cadence"] < 90).sum()
    # what is ours is known by name, and nothing of theirs is among it
    ours = read_ledger(tmp_path / "my_results").names
    assert "tables/gait.tsv" in ours
    assert not any("slow_walks" in name for name in ours)
    assert {p.name for p in tmp_path.iterdir()} == {
        *(".snakemake", "Snakefile", "config.yaml", "my_study", "my_results", "my_tables"),
    }
    assert "Nothing to be done" in snakemake(tmp_path, "my_tables/slow_walks.tsv")


def test_two_studies_are_two_modules_of_one_workflow(study, tmp_path):
    lines = ['configfile: "config.yaml"']
    for name in ("knees", "throats"):
        lines += [
            f"module {name}:",
            f'    snakefile: "{ROOT / "workflow/Snakefile"}"',
            f'    config: config["{name}"]',
            f"use rule * from {name} as {name}_*",
        ]
    (tmp_path / "Snakefile").write_text("\n".join(lines) + "\n")
    parts = {name: {"study": str(study), "results": f"of_{name}", "norms": NORMS} for name in ("knees", "throats")}
    (tmp_path / "config.yaml").write_text(yaml.safe_dump(parts))
    said = snakemake(tmp_path, "--dry-run", "knees_all", "throats_all")
    for name in ("knees", "throats"):
        assert re.search(rf"^{name}_provenance +1$", said, re.MULTILINE)
    assert not (tmp_path / "of_knees").exists()


def test_the_catalogues_file_and_the_places_it_asks_for_are_there():
    """Standardised usage, by the catalogue's own page on adding workflows (its repository, docs/about)."""
    usage = yaml.safe_load((ROOT / ".snakemake-workflow-catalog.yml").read_text(encoding="utf-8"))["usage"]
    assert set(usage) == {"mandatory-flags", "software-stack-deployment"}
    assert set(usage["mandatory-flags"]) == {"desc", "flags"}
    assert all(isinstance(value, bool) for value in usage["software-stack-deployment"].values())
    assert (ROOT / "workflow/Snakefile").is_file()
    assert (ROOT / "config/README.md").is_file()
    readme = (ROOT / "README.md").read_text(encoding="utf-8").lower()
    assert "snakemake" in readme
    assert "workflow" in readme
