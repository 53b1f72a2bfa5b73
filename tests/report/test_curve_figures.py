"""Mean knee curves of groups: each person counts once, and legs are affected and other where everybody has one."""

from __future__ import annotations

import numpy as np
import pandas as pd
from strainstudy.report.content import Link
from strainstudy.report.curve_figures import curves_figure, group_curves
from strainstudy.report.people_sections import person_cell
from strainstudy.report.results import StudyTables
from strainstudy.tables import write_table
from strainstudy.tables.curves import CURVES
from strainstudy.tables.recordings import ADDED, RECORDINGS
from strainstudy.tables.spec import Column


def curve(recording: str, side: str, mean: float, n: int, **person: object) -> pd.DataFrame:
    whole = {"recording_id": recording, "trial_type": "normal_gait", "side": side, "sd": 1.0, "n": n, **person}
    return pd.DataFrame({"percent": range(101), "mean": mean, **whole})


def people(**persons: tuple[str, str | None]) -> pd.DataFrame:
    """Two sessions of each: angles of 10 in 5 strides and 16 in 10 on the left, of 30 in 15 on the right."""
    return pd.concat(
        [
            curve(f"{name}-{k}", side, mean, n, participant_id=name, group=group, affected_side=affected)
            for name, (group, affected) in persons.items()
            for k, side, mean, n in ((1, "left", 10.0, 5), (2, "left", 16.0, 10), (1, "right", 30.0, 15))
        ],
        ignore_index=True,
    )


def test_each_person_counts_once_with_all_strides_together():
    whole = group_curves(people(a=("control", None), b=("control", "none")))
    left = whole[whole["leg"] == "left"]
    assert (left["n"] == 2).all()
    np.testing.assert_allclose(left["mean"], 14.0)
    np.testing.assert_allclose(left["sd"], 0.0, atol=1e-12)


def test_legs_are_affected_and_other_only_where_everybody_has_one_affected_side():
    whole = group_curves(people(a=("stroke", "left"), b=("stroke", "right"), c=("mixed", "left"), d=("mixed", "both")))
    legs = whole.groupby("group")["leg"].unique().map(set).to_dict()
    assert legs == {"stroke": {"affected", "other"}, "mixed": {"left", "right"}}
    stroke = whole[(whole["group"] == "stroke") & (whole["percent"] == 0)].set_index("leg")
    np.testing.assert_allclose(stroke["mean"], (14.0 + 30.0) / 2)
    np.testing.assert_allclose(stroke["sd"], 16.0 / np.sqrt(2))


def test_the_figure_is_drawn_from_the_table_and_is_none_without_curves(tmp_path):
    assert curves_figure(StudyTables(tmp_path), tmp_path) is None
    extra = (*ADDED, *(Column(n, "string", n, n) for n in ("group", "affected_side")))
    names = [*RECORDINGS.names, *(c.name for c in extra)]
    row = dict.fromkeys(names) | {"recording_id": "w", "participant_id": "sub-01", "group": "control"}
    write_table(pd.DataFrame([row], columns=names), RECORDINGS, tmp_path, extra)
    write_table(curve("w", "left", 20.0, 3), CURVES, tmp_path)
    picture = curves_figure(StudyTables(tmp_path), tmp_path)
    assert picture is not None
    assert {path.name for path in tmp_path.glob("knee_curves.*")} == {f"knee_curves.{f}" for f in ("png", "svg", "pdf")}
    assert "Schwartz" in picture.caption


def test_a_person_in_a_table_leads_to_their_page():
    cell = person_cell({"participant_id": "sub-01"})
    assert isinstance(cell, Link)
    assert cell.href == "people/sub-01.html"
    assert person_cell({"participant_id": None}) == "n/a"
