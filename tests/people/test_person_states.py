"""A limp that is gone is a change, although nothing is left to compare it with."""

import pytest
from strainstudy.people.states import came_or_went


@pytest.mark.parametrize(
    ("sessions", "told"),
    [
        ([("a", 28.0, 72.0), ("b", 100.0, 0.0)], ["limping gait was 72 % of the walking in a and 0 % in b"]),
        ([("a", 50.0, 0.0), ("b", 0.0, 0.0), ("c", 0.0, 45.0)],
         ["normal gait was 100 % of the walking in a and 0 % in c",
          "limping gait was 0 % of the walking in a and 100 % in c"]),
        ([("a", 57.0, 43.0), ("b", 50.0, 50.0)], []),
        ([("a", 100.0, 0.0), ("b", 95.0, 5.0)], []),
        ([("a", 100.0, 0.0)], []),
    ],
)  # fmt: skip
def test_a_state_that_came_or_went_is_told_and_one_that_grew_is_not(sessions, told):
    assert came_or_went(sessions) == told
