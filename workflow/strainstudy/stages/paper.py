"""Tables and signals of a finished study to the kit for a paper: figures, captions, tables, methods, references."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from ..errors import counted
from ..gait.model_files import GAIT_FILES
from ..io.atomic import write_text
from ..io.frames import read_json
from ..io.store import Trace, read_recording
from ..jobs import Progress
from ..paper.captions import caption_of, captions_text
from ..paper.checklist import CHECKLIST, checklist_rows
from ..paper.facts import Facts
from ..paper.figures import FIGURES
from ..paper.latex import latex_table
from ..paper.methods import methods_text
from ..paper.names import CAPTIONS, FORMS, METHODS_FILE, REFERENCES, figure_file, paper_files, table_file
from ..paper.publications import PUBLISHED, headers_of, spec_of, table_caption, table_of
from ..paper.references import bibliography
from ..paper.style import drawing, save, sheet
from ..records import Participant, Recording, Sensor
from ..reference_use import calibrating_spans
from ..report.results import StudyTables
from ..swallow.model_files import SWALLOW_FILES
from ..tables import write_table
from ..tables.angles import ANGLES
from ..tables.events import STRIDES
from ..tables.standing import NORMS, RETEST
from ..tables.validation import EVENTS, PARAMETERS, RATERS
from ..vocabulary import SIDE_OF_POINT

__all__ = ["PACKAGES", "angle_frames", "run"]

PACKAGES: Final = (
    "matplotlib", "numpy", "pandas", "pyarrow", "scikit-learn", "scipy", "skops", "snakemake", "strainstudy",
)  # fmt: skip
"""Packages whose versions a paper names."""
_QUANTITIES: Final = ("angle", "angle_low", "angle_high", "reference_angle")
_WINDOW_S: Final = 8.0  # s, some six strides (ours)
_SQUARE_DEG: Final = 2.0  # deg, side of the squares that time is summed in (ours)
_OVERLAY: Final = ("recording_id", "side", "time", "angle", "low", "high", "reference")


def _typical(tables: StudyTables, known: Mapping[str, Recording]) -> tuple[str, str] | None:
    """Find recording and knee whose error is the median of all that were not made for calibration."""
    angles = tables(ANGLES)
    whole = angles[(angles["phase"] == "all") & angles["angle_from"].isna() & angles["angle_to"].isna()]
    single = whole[whole["tracked_point"].notna() & whole["rmse"].notna()]
    single = single[[name in known and known[name].task != "bend" for name in single["recording_id"]]]
    if single.empty:
        return None
    single = single.sort_values(["rmse", "recording_id", "tracked_point"], kind="stable")
    row = single.iloc[(len(single) - 1) // 2]
    return str(row["recording_id"]), str(row["tracked_point"])


def _overlay(trace: Trace, strides: pd.DataFrame) -> pd.DataFrame:
    """Take some seconds from the first steady stride on, else from the first sample with both angles."""
    side = SIDE_OF_POINT[trace.tracked_point]
    own = strides[(strides["recording_id"] == trace.recording_id) & (strides["side"] == side)]
    steady = own.loc[own["steady"].fillna(value=False).astype(bool), "onset"]
    both = np.flatnonzero(np.isfinite(trace["angle"]) & np.isfinite(trace["reference_angle"]))
    start = float(steady.min()) if len(steady) else float(trace.time[both[0]]) if both.size else 0.0
    inside = (trace.time >= start) & (trace.time < start + _WINDOW_S)
    values = [trace[name][inside] for name in _QUANTITIES]
    columns = [trace.recording_id, side, trace.time[inside], *values]
    return pd.DataFrame(dict(zip(_OVERLAY, columns, strict=True)))


def _squares(trace: Trace, recording: Recording) -> pd.DataFrame:
    """Seconds in each square of reference and angle, without time whose reference calibrated."""
    time = trace.time
    angle, reference = trace["angle"], trace["reference_angle"]
    used = np.isfinite(angle) & np.isfinite(reference)
    for first, last in calibrating_spans(recording.reference_use, trace.n / trace.sampling_frequency):
        used &= (time < first) | (time >= last)
    both = np.floor(np.column_stack([reference[used], angle[used]]) / _SQUARE_DEG).astype(int)
    cells, counts = np.unique(both, axis=0, return_counts=True)
    frame = pd.DataFrame((cells + 0.5) * _SQUARE_DEG, columns=["reference", "angle"])
    return frame.assign(seconds=counts / trace.sampling_frequency, side=_SQUARE_DEG)


def angle_frames(
    tables: StudyTables, recordings: Sequence[Recording], signals: Sequence[Path]
) -> dict[str, pd.DataFrame]:
    """Take what is drawn of angles beside a reference out of the signals.

    Parameters
    ----------
    tables : StudyTables
    recordings : sequence of Recording
        All of the study.
    signals : sequence of Path
        Signals of all batches.

    Returns
    -------
    dict of str to DataFrame
        ``overlay``: recording_id, side, time, angle, low, high, reference of one recording; ``density``: reference and
        angle (centres of squares), seconds, side of the squares. Empty where no angle has a reference.
    """
    known = {recording.recording_id: recording for recording in recordings}
    chosen = _typical(tables, known)
    nothing = {"overlay": pd.DataFrame(columns=list(_OVERLAY)), "density": pd.DataFrame()}
    if chosen is None:
        return nothing
    compared = set(tables(ANGLES)["recording_id"])
    squares, overlay = [], nothing["overlay"]
    for path in signals:
        for name in sorted(compared):
            if name not in known or known[name].task == "bend":
                continue
            for point, trace in read_recording(path, name, _QUANTITIES).items():
                if point not in SIDE_OF_POINT or trace.units == "deg":
                    continue
                squares.append(_squares(trace, known[name]))
                if (name, point) == chosen:
                    overlay = _overlay(trace, tables(STRIDES))
    summed = pd.concat(squares).groupby(["reference", "angle", "side"], sort=True)["seconds"].sum().reset_index()
    return {"overlay": overlay, "density": summed}


def _draw(tables: StudyTables, angles: Mapping[str, pd.DataFrame], results: Path) -> tuple[dict[str, str], list[str]]:
    """Write every figure that the study gives; return their captions and files."""
    captions, files = {}, []
    with drawing():
        for name, figure in FIGURES.items():
            panels = figure.panels(tables, angles)
            if not panels:
                continue
            captions[name] = caption_of(name, tables, panels)
            for width, layout in figure.layouts.items():
                drawn = sheet(panels, width, layout.columns, layout.height(panels), same_y=figure.same_y)
                for form in FORMS:
                    files.append(figure_file(name, width, form))
                    save(drawn, results / files[-1], form)
    return captions, files


def _tabulate(tables: StudyTables, facts: Facts, results: Path) -> tuple[dict[str, str], list[str]]:
    """Write every table that the study gives as TSV and LaTeX; return their captions and files."""
    captions, files = {}, []
    for name in PUBLISHED:
        frame = table_of(name, tables, facts)
        if frame.empty:
            continue
        captions[name] = table_caption(name, tables)
        spec = spec_of(name, frame, captions[name])
        write_table(frame.set_axis(list(spec.names), axis="columns"), spec, results)
        text = latex_table(frame, headers_of(frame), captions[name], f"tab:{name}")
        write_text(results / table_file(name, "tex"), text)
        files += [table_file(name, form) for form in ("tsv", "json", "tex")]
    return captions, files


def _guidelines(tables: StudyTables, facts: Facts) -> list[str]:
    """Name the reporting guidelines that apply to what the study has."""
    compared = any(len(tables(spec)) for spec in (RETEST, RATERS, PARAMETERS))
    applies = {
        "STROBE": bool(facts.participants),
        "TRIPOD+AI": "gait" in facts.cards,
        "STARD 2015": len(tables(EVENTS)) > 0,
        "GRRAS": compared,
    }
    return [name for name, so in applies.items() if so]


def _card(path: Path) -> dict[str, Any] | None:
    card = read_json(path) if path.is_file() else None
    return card if card and card.get("variants") else None


def run(
    recordings: Sequence[Recording],
    participants: Mapping[str, Participant],
    sensors: Mapping[str, Sensor],
    *,
    settings: Mapping[str, Any],
    reference_rater: str | None,
    signals: Sequence[Path],
    entries: Path,
    results: Path,
    progress: Progress,
) -> None:
    """Write the kit for a paper; a file of an earlier run that is no longer made goes.

    Parameters
    ----------
    recordings : sequence of Recording
        All of the study, with their label files.
    participants, sensors : mapping of str
        Rows of the sheets.
    settings : mapping of section to parameters
        What the study ran with.
    reference_rater : str or None
        Whose labels the pipeline was compared with.
    signals : sequence of Path
        Signals of all batches, for angles beside a reference.
    entries : Path
        BibTeX entries of the methods' sources.
    results : Path
        Results folder.
    progress : Progress
    """
    tables = StudyTables(results)
    cards = {
        name: card
        for name, files in (("gait", GAIT_FILES), ("swallow", SWALLOW_FILES))
        if (card := _card(results / "model" / files.card)) is not None
    }
    facts = Facts(
        participants=participants,
        sensors=sensors,
        recordings={recording.recording_id: recording for recording in recordings},
        settings=settings,
        reference_rater=reference_rater,
        cards=cards,
        versions={package: version(package) for package in PACKAGES},
    )
    of_figures, made = _draw(tables, angle_frames(tables, recordings, signals), results)
    of_tables, files = _tabulate(tables, facts, results)
    made += [*files, CAPTIONS, METHODS_FILE, REFERENCES, CHECKLIST.path, CHECKLIST.path.replace(".tsv", ".json")]
    write_text(results / CAPTIONS, captions_text(of_figures, of_tables))
    write_text(results / METHODS_FILE, methods_text(tables, facts))
    norms = tables(NORMS).drop_duplicates("source").set_index("source")["source_read"]
    published = {str(source): str(known) for source, known in norms.items()}
    text = bibliography(entries.read_text(encoding="utf-8"), published, facts.versions)
    write_text(results / REFERENCES, text)
    write_table(checklist_rows(_guidelines(tables, facts), made), CHECKLIST, results)
    for name in set(paper_files()) - set(made):
        (results / name).unlink(missing_ok=True)
    progress.say(f"{counted(len(of_figures), 'figure')} and {counted(len(of_tables), 'table')} for a paper")
