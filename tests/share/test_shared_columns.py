"""Which of the lab's own words may leave, and what the settings are told if they ask for what may not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sharing import write_named_study
from strainstudy.config import load_config
from strainstudy.errors import StudyError
from strainstudy.intake.start import check_all
from strainstudy.records import Participant, Recording, Study
from strainstudy.share.columns import free_text, pseudonyms, share_problems
from strainstudy.share.names import layout
from strainstudy.share.parameters import ShareParameters
from strainstudy.study import load_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return load_study(write_named_study(tmp_path_factory.mktemp("named") / "study"))


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("participants.clinik", "no such column of free text in this study; did you mean 'participants.clinic'"),
        ("recordings.session_id", "holds dates, which do not leave the lab"),
        ("recordings.recording_id", "holds dates, which do not leave the lab"),
    ],
)
def test_a_column_that_is_not_there_or_holds_dates_is_a_fault_with_its_remedy(study, column, said):
    (problem,) = share_problems(study, ShareParameters(allow_columns=(column,)), "study.yaml")
    assert said in str(problem)
    assert str(problem).startswith(f"study.yaml, column share.allow_columns, value '{column}'")


@pytest.mark.parametrize("name", ["name", "first_name", "Surname", "date_of_birth", "email", "home_address"])
def test_a_column_whose_name_says_that_it_tells_who_somebody_is_cannot_be_allowed(study, name):
    people = {"sub-1": Participant("sub-1", extra={name: "x"})}
    column = f"participants.{name}"
    (problem,) = share_problems(replace(study, participants=people), ShareParameters(allow_columns=(column,)), "c")
    assert "tells who somebody is" in problem.message


@pytest.mark.parametrize(
    "value", ["2024-05-01", "1.5.2024", "01/05/24", "20240501", "visit of 2024-05-01", "a_20240501"]
)
def test_dates_are_seen_in_their_usual_spellings(value):
    study = Study(None, {"sub-1": Participant("sub-1", extra={"visit": value})}, {}, {})
    (text,) = (one for one in free_text(study, ShareParameters()) if one.column == "participants.visit")
    assert text.dated


@pytest.mark.parametrize("value", ["18", "3.5", "left-handed", "12-3", "20245", "1899"])
def test_numbers_and_words_are_not_taken_for_dates(value):
    study = Study(None, {"sub-1": Participant("sub-1", extra={"x": value})}, {}, {})
    assert not any(text.dated for text in free_text(study, ShareParameters()))


def test_the_check_of_a_study_says_so_with_every_other_fault(tmp_path):
    root = write_named_study(tmp_path / "study")
    config = {"study": str(root), "results": str(tmp_path / "results"), "share": {"allow_columns": ["participants.no"]}}
    with pytest.raises(StudyError) as caught:
        check_all({**config, "batches": 0}, "study.yaml")
    assert [problem.column for problem in caught.value.problems] == ["batches", "share.allow_columns"]


def test_without_a_word_nothing_is_allowed():
    assert load_config({})[1]["share"].allow_columns is None


_LABELS = st.text("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=1, max_size=12)


@given(st.sets(_LABELS, min_size=1, max_size=12), st.sets(_LABELS, min_size=1, max_size=4), st.booleans())
def test_no_two_recordings_share_a_place_and_names_are_those_of_the_standard(people, sessions, allowed):
    recordings = {
        f"{p}-{s}-{n}": Recording(f"{p}-{s}-{n}", "walk", None, "f", f"sub-{p}", f"ses-{s}")
        for p in people
        for s in sessions
        for n in range(2)
    }
    study = Study(None, {f"sub-{p}": Participant(f"sub-{p}") for p in people}, {}, recordings)
    columns = ("participants.participant_id", "recordings.session_id") if allowed else None
    parameters = ShareParameters(allow_columns=columns)
    stems = layout(study, parameters).stems
    assert len(set(stems.values())) == len(recordings)
    names = pseudonyms(study, parameters)
    assert len(set(names.participants.values())) == len(people)
    digits = all(label.isdigit() and len(label) <= 4 for label in people)
    unchanged = all(old == new for old, new in names.participants.items())
    assert unchanged or not (allowed or digits)
