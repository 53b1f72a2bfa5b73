"""One run of the demo through the real Snakefile, shared by all tests of the workflow."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).parents[2]
Run = Callable[..., subprocess.CompletedProcess[str]]


def run_workflow(folder: Path, config: dict, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the repository's Snakefile from its own folder, with the engine's bookkeeping in ``folder``."""
    file = folder / "study.yaml"
    file.write_text(yaml.safe_dump(config), encoding="utf-8")
    command = [sys.executable, "-m", "snakemake", "--snakefile", str(ROOT / "Snakefile"), "--cores", "2"]
    command += ["--scheduler", "greedy", "--directory", str(folder), "--configfile", str(file), *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=900, cwd=ROOT)


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Results folder of the demo study."""
    folder = tmp_path_factory.mktemp("demo")
    config = {"study": str(ROOT / "demo_raw"), "results": "results", "norms": str(ROOT / "config/norms.tsv")}
    done = run_workflow(folder, config)
    assert done.returncode == 0, done.stderr[-3000:]
    return folder / "results"
