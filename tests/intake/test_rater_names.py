"""Raters whose labels could not be kept apart by file are refused at the start, each with a file of theirs."""

from __future__ import annotations

import pytest
from strainstudy.errors import StudyError
from strainstudy.intake.start import check_all
from strainstudy_simulator.cohort import write_study


@pytest.fixture(scope="module")
def config(tmp_path_factory):
    folder = tmp_path_factory.mktemp("raters")
    write_study(folder / "study", people=1, sessions=1, minutes=0.3, tasks=("walk",), bench=False, faults=False)
    return {"study": str(folder / "study"), "results": str(folder / "results"), "norms": "config/norms.tsv"}, folder


def test_two_raters_whose_names_differ_in_case_alone(config):
    settings, folder = config
    check_all(settings, "mine.yaml")
    (first,) = (folder / "study/labels").glob("*/rater1_events.tsv")
    other = first.with_name("Rater1_events.tsv")
    other.write_bytes(first.read_bytes())
    with pytest.raises(StudyError) as told:
        check_all(settings, "mine.yaml")
    other.unlink()
    (fault,) = (problem for problem in told.value.problems if not problem.caution)
    assert str(fault) == (
        f"labels/{first.parent.name}/rater1_events.tsv: the raters Rater1 and rater1 differ in upper and lower case"
        " alone; give one another name: on some disks their files would be one."
    )
