"""The config files as text: what reading them as YAML would lose without a word, or refuse without naming the place.

In: paths. Out: problems with file, line and column: a key that is there twice (of which YAML keeps the last), text that
is no YAML or not UTF-8, a file that is not there. The engine reads the files itself before any of this, and stops at
broken YAML without naming the line: ``python -m strainstudy.intake.settings_files FILE ...`` names it.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from pathlib import Path

import yaml

from ..errors import Problem, StudyError

__all__ = ["check_config_files", "config_file_problems"]

_MOST_VALUES = 10_000
"""Values of a settings file with its aliases written out; there are a few hundred settings (ours)."""
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def _twice(node: yaml.Node | None, path: str, file: str) -> list[Problem]:
    """Find keys that are there twice in one mapping, however deep."""
    problems = []
    # nodes by identity: an alias may lead back to where it stands
    waiting, seen = [(node, path)], set()
    while waiting:
        here, name = waiting.pop()
        if here is None or id(here) in seen:
            continue
        seen.add(id(here))
        if isinstance(here, yaml.SequenceNode):
            waiting += [(entry, name) for entry in here.value]
        if not isinstance(here, yaml.MappingNode):
            continue
        first: dict[str, int] = {}
        for key, value in here.value:
            line = key.start_mark.line + 1
            text = str(key.value)
            dotted = f"{name}.{text}".lstrip(".")
            if text in first:
                message = f"this setting stands in line {first[text]} already, and only one of the two would count"
                problems.append(Problem(file, message, "remove one of the two", row=line, column=dotted))
            else:
                first[text] = line
            waiting.append((value, dotted))
    return sorted(problems, key=lambda p: p.row or 0)


def _unfolded(node: yaml.Node, sizes: dict[int, float]) -> float:
    """Count the values that a text stands for once its aliases are written out; without end if one holds itself."""
    if id(node) not in sizes:
        sizes[id(node)] = math.inf
        parts: list[yaml.Node] = []
        if isinstance(node, yaml.SequenceNode):
            parts = list(node.value)
        elif isinstance(node, yaml.MappingNode):
            parts = [part for pair in node.value for part in pair]
        sizes[id(node)] = 1 + sum(_unfolded(part, sizes) for part in parts)
    return sizes[id(node)]


def _no_yaml(error: yaml.YAMLError, file: str) -> Problem:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    what = getattr(error, "problem", None) or str(error).splitlines()[0]
    place = f" (column {mark.column + 1})" if mark is not None else ""
    remedy = "correct the text: one setting a line, 'name: value', sections indented by spaces and not by tabs"
    return Problem(file, f"not YAML{place}: {what}", remedy, row=None if mark is None else mark.line + 1)


def config_file_problems(path: Path, file: str) -> list[Problem]:
    """Find what is wrong with a config file as a text.

    Parameters
    ----------
    path : Path
    file : str
        Its name for messages.

    Returns
    -------
    list of Problem
        By line; what the settings themselves should be is not looked at.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        return [Problem(file, "there is no such file", "correct the path after --configfile")]
    except UnicodeDecodeError as error:
        row = error.object[: error.start].count(b"\n") + 1
        message = f"a character that is not UTF-8 (byte 0x{error.object[error.start]:02x})"
        return [Problem(file, message, "save the file as UTF-8", row=row)]
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else error
        return [Problem(file, f"the file cannot be opened ({why})", "make it a readable file")]
    try:
        node = yaml.compose(text, Loader=_LOADER)
        if node is not None and _unfolded(node, {}) > _MOST_VALUES:
            return [Problem(file, "far more values than there are settings, by aliases (*) perhaps", "write them out")]
    except yaml.YAMLError as error:
        return [_no_yaml(error, file)]
    except RecursionError:
        return [Problem(file, "nested too deeply for settings", "write sections one level deep")]
    if node is not None and not isinstance(node, yaml.MappingNode):
        remedy = "write 'name: value', one line each"
        return [Problem(file, "no settings, but a list or a text", remedy, row=node.start_mark.line + 1)]
    return _twice(node, "", file)


def check_config_files(files: Sequence[str]) -> None:
    """Check all config files of a run.

    Raises
    ------
    StudyError
        With every problem of every file.
    """
    problems = [problem for file in dict.fromkeys(files) for problem in config_file_problems(Path(file), file)]
    if problems:
        raise StudyError(problems)


if __name__ == "__main__":
    try:
        check_config_files(sys.argv[1:])
    except StudyError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(1)
