"""Write drafts of the four sheets from a folder of raw files: ``python -m strainstudy.draft FOLDER``.

In: a folder. Out: ``participants.tsv``, ``sensors.tsv``, ``recordings.tsv``, ``channels.tsv`` and
``draft_questions.md`` in it, or in a new folder. Nothing that is there is overwritten; raw files are only read.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from ..errors import Problem, StudyError, some_of
from ..intake.rules import SHEETS
from ..io.atomic import write_text
from ..vocabulary import MISSING
from .files import look_at, raw_files_in
from .guess import Drafted, put_together
from .names import Pattern, default_pattern_words, read_name
from .sheets import Draft, draft_sheets

__all__ = ["QUESTIONS", "main", "write_draft"]

QUESTIONS: Final = "draft_questions.md"
_MOST_NAMED: Final = 6
"""Rows that a question names one by one (ours)."""


def _refuse_existing(into: Path) -> None:
    names = [*(kind.file for kind in SHEETS.values()), QUESTIONS]
    there = [name for name in names if (into / name).exists() or (into / name).is_symlink()]
    if there:
        remedy = "name a new folder with --into, or move the file away"
        raise StudyError([Problem(str(into / name), "is there already, and stays as it is", remedy) for name in there])
    if into.exists() and not into.is_dir():
        raise StudyError([Problem(str(into), "not a folder", "name a new folder with --into")])


def _page(
    folder: Path, pattern: Pattern | None, drafted: Sequence[Drafted], draft: Draft, raised: Sequence[str]
) -> str:
    """Write down how names were read, what is asked, what was guessed, and what each file holds."""
    fitted = sum(one.named.participant_id is not None or one.named.task is not None for one in drafted)
    how = f"by the pattern `{pattern.text}`" if pattern is not None else f"by words: {default_pattern_words()}"
    lines = [
        f"# Draft of a study: {folder.name}",
        "",
        f"{len(drafted)} files. Names were read {how}",
        "",
        f"That told something of {fitted} of {len(drafted)} files. Another pattern is given with `--pattern`, such as "
        "`{participant}/{session}_{task}`.",
        "",
        "## Questions",
        "",
        "Cells that nothing tells are n/a in the sheets.",
        "",
        *(f"- {question}" for question in raised),
    ]
    for question in draft.questions:
        n = len(question.rows)
        where = f"{question.sheet}, column {question.column}, {n} cell{'' if n == 1 else 's'}"
        lines.append(f"- {where}: {question.text} ({some_of(question.rows, _MOST_NAMED)})")
    faults = [f"- {one.seen.file}: {one.seen.fault}" for one in drafted if one.seen.fault]
    if faults:
        lines += ["", "## Files with something wrong", "", *faults]
    guesses = [f"- {one.seen.file}: {guess}" for one in drafted for guess in one.guesses]
    if guesses:
        lines += ["", "## Guessed, to be looked at", "", *guesses]
    lines += ["", "## Files", "", "| file | rate (Hz) | length (s) | time | columns |", "|---|---|---|---|---|"]
    for one in drafted:
        seen = one.seen
        rate, length = (MISSING if v is None else f"{v:.6g}" for v in (seen.rate, seen.length_s))
        time = seen.time_column or ("the file's own rate" if seen.own_rate else MISSING)
        lines.append(f"| {seen.file} | {rate} | {length} | {time} | {', '.join(seen.names)} |")
    return "\n".join(lines) + "\n"


def write_draft(folder: Path, *, into: Path | None = None, pattern: str | None = None) -> tuple[Draft, list[Drafted]]:
    """Write drafts of the four sheets and the questions that are left.

    Parameters
    ----------
    folder : Path
        Raw files, in any folders below it.
    into : Path, optional
        Where the sheets go; ``folder`` itself if not given. The paths in them are relative to ``folder``.
    pattern : str, optional
        How file names are to be read, as `Pattern` has it.

    Returns
    -------
    Draft
    list of Drafted
        One for each raw file.

    Raises
    ------
    StudyError
        If there is no such folder or nothing that a reader takes, the pattern is none, or a file that would be written
        is there already.
    """
    if not folder.is_dir():
        raise StudyError([Problem(str(folder), "there is no such folder", "name the folder of the raw files")])
    given = None if pattern is None else Pattern(pattern)
    target = folder if into is None else into
    _refuse_existing(target)
    files = raw_files_in(folder)
    if not files:
        message = "no file that there is a reader for"
        raise StudyError([Problem(str(folder), message, "name the folder of the raw files")])
    seen = [look_at(folder, file) for file in files]
    drafted, raised = put_together([read_name(file, given) for file in files], seen)
    draft = draft_sheets(drafted)
    target.mkdir(parents=True, exist_ok=True)
    for name, (header, rows) in draft.sheets.items():
        write_text(target / name, "".join("\t".join(row) + "\n" for row in (header, *rows)))
    write_text(target / QUESTIONS, _page(folder, given, drafted, draft, raised))
    return draft, drafted


def main() -> None:
    """Draft the sheets of the folder named on the command line."""
    parser = argparse.ArgumentParser(prog="python -m strainstudy.draft", description=__doc__)
    parser.add_argument("folder", type=Path, help="folder of raw files")
    parser.add_argument("--into", type=Path, help="another folder for the sheets; those in it are never overwritten")
    parser.add_argument("--pattern", help="how names are read, such as {participant}/{session}_{task}")
    given = parser.parse_args()
    try:
        draft, drafted = write_draft(given.folder, into=given.into, pattern=given.pattern)
    except StudyError as error:
        sys.exit("\n".join(str(problem) for problem in error.problems))
    asked = sum(len(question.rows) for question in draft.questions)
    filled = sum(cell != MISSING for _, rows in draft.sheets.values() for row in rows for cell in row)
    into = given.folder if given.into is None else given.into
    moved = "" if given.into is None else f" The paths are those from {given.folder}: move the sheets there."
    sys.stdout.write(
        f"{len(drafted)} files read; four sheets in {into}: {filled} cells filled, {asked} to be answered, which\n"
        f"{into / QUESTIONS} lists.{moved} Then `snakemake check` with `study: {given.folder}` says what is left.\n"
    )


if __name__ == "__main__":
    main()
