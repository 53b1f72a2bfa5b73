"""The config file: sections made of the stages' parameter classes, checked by one JSON schema.

``python -m strainstudy.config`` writes ``config/config.yaml`` and ``workflow/schemas/config.schema.yaml`` from the
classes, so that default, comment, schema and code cannot disagree.
"""

from __future__ import annotations

import dataclasses
import difflib
import math
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from .errors import Problem, StudyError
from .sections import SECTIONS
from .settings import build, describe, setting

__all__ = ["StudyConfig", "check_config", "config_schema", "config_text", "load_config", "setting_words"]

_TYPES: Mapping[type, str] = {bool: "boolean", int: "integer", float: "number", str: "string"}
_AS_WORDS = {
    "object": "its settings, one line each, below it",
    "array": "a list",
    "boolean": "true or false",
    "integer": "a whole number",
    "number": "a number",
    "string": "a text",
    "integer or null": "a whole number or null",
    "number or null": "a number or null",
    "string or null": "a text or null",
}
_SCHEMA_HEAD = "# Written by `python -m strainstudy.config`; the words and limits stand in the parameter classes.\n"
_CONFIG_HEAD = """\
# Settings of strainstudy. A study's own file names only what it changes:
#   snakemake --cores 2 --configfile path/to/its.yaml
# Written by `python -m strainstudy.config`; the sources stand in the parameter classes and in the report.
"""


@dataclass(frozen=True)
class StudyConfig:
    """What is not of one stage: where the study is, where results go, how work is divided."""

    study: str = setting("demo_raw", "Study folder", source="ours: the demo")
    results: str = setting("results", "Folder for all results", source="ours: the demo")
    strict: bool = setting(
        False, "Stop at the first rejected recording instead of going on without it", source="ours: a cohort goes on"
    )
    batches: int | None = setting(
        None,
        "Batches that participants are spread over; null makes them of about eight people each",
        source="ours: a person more makes one batch anew, whose work takes longer than its start",
        minimum=1,
        maximum=1000,
    )
    model: str | None = setting(
        None,
        "Model to use instead of training one: open-walks (comes along), rule (no model), or the model/ folder of "
        "another run; null trains, and open-walks decides where there are too few labels",
        source="ours: train where labels teach, else a model with its limits said",
    )
    train_with: str | None = setting(
        None,
        "Model that comes along whose data is learnt from together with the labels of the study: open-walks",
        source="ours: a lab's own labels are its own",
    )
    norms: str = setting("config/norms.tsv", "Table of published norms", source="ours: the table that comes along")


def _json_type(hint: Any) -> dict[str, Any]:
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        schemas = [_json_type(a) for a in arguments if a is not type(None)]
        return {**schemas[0], "type": [schemas[0]["type"], "null"]}
    if origin is tuple:
        return {"type": "array", "items": _json_type(arguments[0]), "minItems": 1}
    if origin is typing.Literal:
        return {"type": "string", "enum": list(arguments)}
    return {"type": _TYPES[hint]}


def _section_schema(kind: type) -> dict[str, Any]:
    hints = typing.get_type_hints(kind)
    properties = {}
    for entry in describe(kind()):
        schema = _json_type(hints[entry["name"]])
        limits = schema["items"] if schema["type"] == "array" else schema
        for word in ("minimum", "maximum"):
            if entry[word] is not None:
                limits[word] = entry[word]
        if entry["choices"] is not None:
            limits["enum"] = list(entry["choices"])
            if isinstance(schema["type"], list):
                limits["enum"].append(None)
        properties[entry["name"]] = {"description": entry["words"], **schema}
    return {"type": "object", "additionalProperties": False, "properties": properties}


def config_schema() -> dict[str, Any]:
    """Make the JSON schema (draft 2020-12) of the whole config from the parameter classes."""
    top = _section_schema(StudyConfig)
    top["properties"] |= {name: _section_schema(kind) for name, kind in SECTIONS.items()}
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "strainstudy settings", **top}


def _lines(parameters: Any, indent: str) -> list[str]:
    lines = []
    for entry in describe(parameters):
        unit = f" [{entry['unit']}]" if entry["unit"] else ""
        value = list(entry["value"]) if isinstance(entry["value"], tuple) else entry["value"]
        text = yaml.safe_dump(value, default_flow_style=True, width=1000).removesuffix("\n...\n").strip()
        lines += [f"{indent}# {entry['words']}{unit}", f"{indent}{entry['name']}: {text}"]
    return lines


def config_text() -> str:
    """Write the default config with one comment line for each setting."""
    lines = [_CONFIG_HEAD.rstrip(), *_lines(StudyConfig(), "")]
    for name, kind in SECTIONS.items():
        lines += ["", f"{name}:", *_lines(kind(), "  ")]
    return "\n".join(lines) + "\n"


def setting_words() -> dict[str, str]:
    """Give what each setting does, by its dotted name."""
    rows = [(entry["name"], entry["words"]) for entry in describe(StudyConfig())]
    rows += [
        (f"{name}.{entry['name']}", entry["words"]) for name, kind in SECTIONS.items() for entry in describe(kind())
    ]
    return dict(rows)


def _problems(error: Any, file: str) -> list[Problem]:
    path = ".".join(str(part) for part in error.absolute_path)
    if error.validator == "additionalProperties":
        known = list(error.schema["properties"])
        found = []
        for odd in sorted(map(str, set(error.instance) - set(known))):
            near = difflib.get_close_matches(odd, known, n=1)
            remedy = f"did you mean {near[0]!r}" if near else f"known here: {', '.join(known)}"
            found.append(Problem(file, "unknown setting", remedy, column=".".join(filter(None, [path, odd]))))
        return found
    if error.validator == "enum":
        message = "not one of the allowed words"
        remedy = f"use one of: {', '.join(str(word) for word in error.validator_value)}"
    elif error.validator in ("minimum", "maximum"):
        message = "out of range"
        bound = {"minimum": "at least", "maximum": "at most"}[error.validator]
        remedy = f"give a value of {bound} {error.validator_value}"
    elif error.validator == "minItems":
        message, remedy = "empty list", "give one value or more"
    else:
        wanted = error.validator_value
        kinds = " or ".join(wanted) if isinstance(wanted, list) else str(wanted)
        message, remedy = "wrong kind of value", f"give {_AS_WORDS.get(kinds, kinds)}"
    shown = "null" if error.instance is None else str(error.instance)
    return [Problem(file, message, remedy, column=path, value=shown)]


def _not_finite(value: Any, path: str, file: str) -> list[Problem]:
    """Find the numbers of YAML that no limit of a schema catches: ``.nan`` and ``.inf``."""
    if isinstance(value, Mapping):
        return [p for name, entry in value.items() for p in _not_finite(entry, f"{path}.{name}".lstrip("."), file)]
    if isinstance(value, list):
        return [problem for entry in value for problem in _not_finite(entry, path, file)]
    if isinstance(value, float) and not math.isfinite(value):
        return [Problem(file, "not a finite number", "give a number", column=path, value=str(value))]
    return []


def _filled(config: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out sections without a line, which YAML reads as null: they change nothing."""
    return {name: value for name, value in config.items() if value is not None or name not in SECTIONS}


def check_config(config: Mapping[str, Any], file: str) -> list[Problem]:
    """Compare a config with the schema.

    Parameters
    ----------
    config : mapping
        As read from YAML.
    file : str
        Name of the file for the messages.

    Returns
    -------
    list of Problem
        Every fault, in the order of the settings; empty if there is none.
    """
    import jsonschema

    validator = jsonschema.Draft202012Validator(config_schema())
    given = _filled(config)
    errors = sorted(validator.iter_errors(given), key=lambda e: [str(p) for p in e.absolute_path])
    problems = [problem for error in errors for problem in _problems(error, file)]
    named = {problem.column for problem in problems}
    return problems + [problem for problem in _not_finite(given, "", file) if problem.column not in named]


def load_config(config: Mapping[str, Any], file: str = "config") -> tuple[StudyConfig, dict[str, Any]]:
    """Turn a config into parameter objects.

    Parameters
    ----------
    config : mapping
        As read from YAML, defaults already merged in or not.
    file : str
        Name of the file for the messages.

    Returns
    -------
    StudyConfig
        What is not of one stage.
    dict of str to parameters
        One parameter object per section.

    Raises
    ------
    StudyError
        With every setting that is unknown, of the wrong kind or out of range.
    """
    problems = check_config(config, file)
    if problems:
        raise StudyError(problems)
    own = {field.name for field in dataclasses.fields(StudyConfig)}
    study = build(StudyConfig, {name: config[name] for name in own if name in config})
    return study, {name: build(kind, config.get(name) or {}) for name, kind in SECTIONS.items()}


def write_files(root: Path) -> None:
    """Write the default config and the schema below ``root``."""
    schema = yaml.safe_dump(config_schema(), sort_keys=False, allow_unicode=True, width=110)
    for path, text in {
        root / "config/config.yaml": config_text(),
        root / "workflow/schemas/config.schema.yaml": _SCHEMA_HEAD + schema,
    }.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write_files(Path(__file__).resolve().parents[2])
