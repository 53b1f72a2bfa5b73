"""One place for each fact a user may set: its default, unit, limits, source and words.

A stage's parameters are a frozen dataclass whose fields are made with `setting`. From those classes come the
commented ``config/config.yaml``, the JSON schema that checks it, and the methods text of the report.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, TypeVar

__all__ = ["build", "describe", "setting"]

T = TypeVar("T")


def setting(
    default: T,
    words: str,
    *,
    source: str,
    unit: str | None = None,
    minimum: float | None = None,
    maximum: float | None = None,
    choices: tuple[str, ...] | None = None,
) -> T:
    """Declare one setting as a dataclass field.

    Parameters
    ----------
    default : T
        Default value; a tuple stands for a list in the config.
    words : str
        What it does, one line, for the config file and the report.
    source : str
        Published source of the default, or ``"common practice, no source"``, or ``"ours: why"``.
    unit : str, optional
        Unit as printed; the field's name ends in it too.
    minimum, maximum : float, optional
        Inclusive limits that the schema enforces.
    choices : tuple of str, optional
        Allowed words.

    Returns
    -------
    T
        A dataclass field (typed as its value, as `dataclasses.field` is).
    """
    field: T = dataclasses.field(
        default=default,
        metadata={
            "words": words,
            "source": source,
            "unit": unit,
            "minimum": minimum,
            "maximum": maximum,
            "choices": choices,
        },
    )
    return field


def describe(parameters: Any) -> list[dict[str, Any]]:
    """List the settings of a parameter class or instance: name, value, words, source, unit, limits."""
    return [
        {"name": field.name, "value": getattr(parameters, field.name), **field.metadata}
        for field in dataclasses.fields(parameters)
    ]


def build(kind: type[T], values: Mapping[str, Any]) -> T:
    """Make an instance of a parameter class from one section of a checked config.

    Parameters
    ----------
    kind : type
        Frozen dataclass made of `setting` fields.
    values : mapping
        The section; lists become tuples. Names the class does not have raise `TypeError`.

    Returns
    -------
    kind
    """
    return kind(**{name: tuple(v) if isinstance(v, list) else v for name, v in values.items()})
