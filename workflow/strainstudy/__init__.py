"""From the volts of soft strain sensors worn by people to tables, figures and a report.

The package computes; it knows nothing of the workflow engine that calls it. DEVELOPERS.md holds the map.
"""

from __future__ import annotations

__version__: str


def __getattr__(name: str) -> str:
    """Look the version up when it is asked for: every job imports the package, and the look-up takes some of that."""
    if name != "__version__":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib.metadata import version

    return version("strainstudy")
