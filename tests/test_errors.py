"""Words of faults that several rooms share."""

import pytest
from strainstudy.errors import further_rows, some_of


@pytest.mark.parametrize(
    ("count", "said"), [(0, ""), (1, "a"), (3, "a, b, c"), (4, "a, b, c and 1 more"), (26, "a, b, c and 23 more")]
)
def test_the_first_names_are_said_and_the_rest_counted(count, said):
    assert some_of("abcdefghijklmnopqrstuvwxyz"[:count], 3) == said


def test_names_may_stand_between_other_marks():
    assert some_of(["a", "b", "c"], 2, "; ") == "a; b and 1 more"


@pytest.mark.parametrize(("rows", "said"), [(1, ""), (2, " (and 1 further row)"), (3, " (and 2 further rows)")])
def test_rows_with_the_same_fault_are_counted_beyond_the_one_that_is_named(rows, said):
    assert further_rows(range(rows)) == said
