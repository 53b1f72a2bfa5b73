"""Which state of this project made results, and what it takes to run it again.

In: the checkout. Out: its commit, and the text of ``provenance/run_again.md``. Results of a copy that is no checkout
have no commit and say so.
"""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

__all__ = ["BESIDE", "LOCK", "RUN_AGAIN", "SETTINGS", "WORKFLOW", "Origin", "origin_of", "run_again_text"]

WORKFLOW = "Snakefile"
LOCK = "requirements.lock"
SETTINGS = "settings.yaml"
RUN_AGAIN = "run_again.md"
BESIDE = (WORKFLOW, LOCK, SETTINGS, RUN_AGAIN)
"""Files of ``provenance/`` that say how to run again."""
_SOURCES = ("Snakefile", "workflow", "config", LOCK, "pyproject.toml")


@dataclass(frozen=True)
class Origin:
    """State of the project's checkout.

    Parameters
    ----------
    commit : str or None
        Forty hexadecimal digits; None where git or the checkout's history is not there.
    changed : bool
        Files of the project differ from that commit.
    """

    commit: str | None
    changed: bool = False

    def __str__(self) -> str:
        if self.commit is None:
            return "a copy without history, whose commit is not known"
        return f"commit {self.commit}" + (", with changes that were not committed" if self.changed else "")


def _git(root: Path, *arguments: str) -> str | None:
    try:
        done = subprocess.run(["git", "-C", str(root), *arguments], capture_output=True, text=True, check=False)  # noqa: S603, S607
    except OSError:
        return None
    return done.stdout.strip() if done.returncode == 0 else None


def origin_of(root: Path) -> Origin:
    """Ask git for the commit of a checkout; a folder inside another project's checkout has none of its own.

    Parameters
    ----------
    root : Path
        Root of this project.

    Returns
    -------
    Origin
    """
    top = _git(root, "rev-parse", "--show-toplevel")
    if top is None or Path(top).resolve() != root.resolve():
        return Origin(None)
    return Origin(_git(root, "rev-parse", "HEAD"), bool(_git(root, "status", "--porcelain", "--", *_SOURCES)))


def run_again_text(*, name: str, version: str, python: str, origin: Origin) -> str:
    """Say how to make the same results again.

    Parameters
    ----------
    name : str
        Name of the study.
    version, python : str
        Versions of this software and of Python.
    origin : Origin

    Returns
    -------
    str
        Markdown.
    """
    state = "" if origin.commit is None else f"git checkout {origin.commit}\n"
    return f"""\
# Run the study {name} again

Made by strainstudy {version}, {origin}, under Python {python}.

Beside this file lies what a second run needs: `requirements.lock`, every library with version and hash;
`settings.yaml`, every setting as it was in force; `Snakefile`, the workflow that ran; `manifest.tsv`, the SHA-256 of
every file that went in and came out.

In a checkout of strainstudy, with this results folder as RESULTS:

```
{state}python3 -m venv .venv
.venv/bin/pip install --require-hashes -r RESULTS/provenance/requirements.lock
.venv/bin/pip install --no-deps --no-build-isolation --editable .
cp RESULTS/provenance/settings.yaml again.yaml    # in it, say where the study lies now, and another results folder
.venv/bin/snakemake --workflow-profile workflow/profiles/default --cores 2 --configfile again.yaml
```

Then compare: what went in and came out, and what the second run made.

```
.venv/bin/python -m strainstudy.provenance.verify RESULTS
.venv/bin/python -m strainstudy.provenance.verify RESULTS --made-again AGAIN
```
"""
