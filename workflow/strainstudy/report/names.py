"""Names of the figures: every file that a report may write below ``figures/``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from ..records import Recording
from ..tables.spec import TableSpec, text
from ..vocabulary import BENCH_TASKS

__all__ = ["FIGURES", "FIGURE_LIST", "bench_sensors", "figure_files", "forms_of", "recording_file", "sensor_figure"]

_PAGE_AND_PRINT: Final = ("png", "svg", "pdf")
_OF_SENSOR: Final = ("png", "svg")
_SENSOR: Final = "sensor_"
FIGURES: Final[Mapping[str, tuple[str, ...]]] = dict.fromkeys(
    (
        "agreement_events",
        "agreement_parameters",
        "agreement_swallows",
        "change",
        "classifier",
        "classifier_evidence",
        "gait",
        "knee_calibration",
        "knee_curves",
        "norms",
        "raters",
        "sensor_health",
        "swallows",
    ),
    _PAGE_AND_PRINT,
)
"""Figures of a whole study with the forms each is written in."""

FIGURE_LIST: Final = TableSpec(
    path="figures/figures.tsv",
    title="Figures",
    description="Every figure of the report that is a file of its own.",
    columns=(
        text("file", "File", "Path relative to the folder figures."),
        text("title", "Title", "Title of the figure on the page."),
    ),
    key=("file",),
)


def sensor_figure(sensor: str) -> str:
    """Name the figure of a sensor on the bench, without suffix; where that is a study's figure, with another dash."""
    name = f"{_SENSOR}{sensor}"
    return name if name not in FIGURES else name.replace("_", "-")


def recording_file(recording: str) -> str:
    """Name the drawing of a recording, relative to the folder of figures."""
    return f"recordings/{recording}.svg"


def forms_of(name: str) -> tuple[str, ...]:
    """Give the suffixes that a figure is written with.

    Parameters
    ----------
    name : str
        File name without suffix.

    Returns
    -------
    tuple of str

    Raises
    ------
    KeyError
        If the figure is neither in `FIGURES` nor that of a sensor: a file that nobody expects must not be written.
    """
    of_sensor = name.replace("-", "_").startswith(_SENSOR)
    if name not in FIGURES and not of_sensor:
        raise KeyError(f"the figure {name} is not in FIGURES of report/names.py: add it")
    return FIGURES.get(name, _OF_SENSOR)


def bench_sensors(recordings: Iterable[Recording]) -> list[str]:
    """List the sensors that have been on the bench, sorted."""
    bench = [recording for recording in recordings if recording.task in BENCH_TASKS]
    return sorted({sensor for r in bench for sensor in (r.sensor_id, *(c.sensor_id for c in r.channels)) if sensor})


def figure_files(recordings: Iterable[Recording]) -> list[str]:
    """List every file that the report of these recordings may write, relative to the folder of figures.

    Parameters
    ----------
    recordings : iterable of Recording
        All of the study.

    Returns
    -------
    list of str
        Sorted; which of them are written depends on what the recordings hold.
    """
    known = list(recordings)
    names = {f"{name}.{form}" for name, forms in FIGURES.items() for form in forms}
    names |= {f"{sensor_figure(sensor)}.{form}" for sensor in bench_sensors(known) for form in _OF_SENSOR}
    names |= {recording_file(r.recording_id) for r in known if r.task not in BENCH_TASKS}
    return sorted(names)
