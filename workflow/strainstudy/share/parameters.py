"""Settings of what is given to others."""

from __future__ import annotations

from dataclasses import dataclass

from ..settings import setting

__all__ = ["ShareParameters"]


@dataclass(frozen=True)
class ShareParameters:
    """What may leave the lab, and under which title."""

    allow_columns: tuple[str, ...] | None = setting(
        None,
        "Columns of the lab's own words that may leave it, by name, such as participants.group",
        source="ours: nothing that a person wrote leaves the lab unless it is named",
    )
    dataset_name: str = setting(
        "Strain sensors on people", "Name of the shared data set", source="ours: says what it is"
    )
    authors: tuple[str, ...] | None = setting(
        None, "Authors of the shared data set, as they shall be cited", source="ours: no name is written unasked"
    )
    license: str | None = setting(
        None, "Licence of the shared data set, such as CC0 or CC-BY-4.0", source="ours: the lab alone can give one"
    )
