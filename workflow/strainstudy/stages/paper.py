"""Tables and drawn figures of a finished study to the kit for a paper: captions, tables, methods, references."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

from ..errors import counted
from ..gait.model_files import GAIT_FILES
from ..io.atomic import write_text
from ..io.frames import read_json
from ..jobs import Progress
from ..paper.captions import captions_text, coarse_words
from ..paper.checklist import CHECKLIST, checklist_rows
from ..paper.facts import Facts
from ..paper.latex import latex_table
from ..paper.methods import methods_text
from ..paper.names import (
    CAPTIONS,
    FIGURE_NAMES,
    FORMS,
    METHODS_FILE,
    REFERENCES,
    WIDTHS_MM,
    figure_file,
    paper_files,
    table_file,
)
from ..paper.publications import PUBLISHED, headers_of, spec_of, table_caption, table_of
from ..paper.references import bibliography
from ..records import Participant, Recording, Sensor
from ..report.results import StudyTables
from ..swallow.model_files import SWALLOW_FILES
from ..tables import write_table
from ..tables.standing import NORMS, RETEST
from ..tables.validation import EVENTS, PARAMETERS, RATERS

__all__ = ["PACKAGES", "run"]

PACKAGES: Final = (
    "matplotlib", "numpy", "pandas", "pyarrow", "scikit-learn", "scipy", "skops", "snakemake", "strainstudy",
)  # fmt: skip
"""Packages whose versions a paper names."""


def _captions(tables: StudyTables, figures: Sequence[Path]) -> dict[str, str]:
    """Give the captions of the figures that are drawn, with the measures that the labels are too coarse for."""
    drawn = {name: words for path in figures for name, words in read_json(path).items()}
    return {name: f"{drawn[name]} {coarse_words(name, tables)}".rstrip() for name in FIGURE_NAMES if name in drawn}


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
    figures: Sequence[Path],
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
    figures : sequence of Path
        What the jobs that draw have made, by kind.
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
    of_figures = _captions(tables, figures)
    made = [figure_file(name, width, form) for name in of_figures for width in WIDTHS_MM for form in FORMS]
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
