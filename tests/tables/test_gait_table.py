"""What the columns of gait measures say of themselves."""

import pytest
from strainstudy.gait.asymmetry import symmetry_angle, symmetry_index, symmetry_ratio
from strainstudy.gait.measures import ASYMMETRIES
from strainstudy.tables.gait import ANSWERS, GAIT

COLUMNS = {column.name: column for column in GAIT.columns}
QUANTITIES = ("step_time", "amplitude", "response_range", "range_of_motion", "stance_time", "swing_time")


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_a_mean_and_its_asymmetries_are_called_alike(quantity):
    called = COLUMNS[f"{quantity}_mean_left"].title.removeprefix("mean ").removesuffix(", left")
    assert COLUMNS[f"{quantity}_mean_right"].title == f"mean {called}, right"
    for name in ASYMMETRIES:
        column = COLUMNS[f"{quantity}_{name}"]
        assert column.title.startswith(f"{called}, ")
        assert column.description.startswith(f"Of mean {called}: ")
        assert {f"{column.name}_low", f"{column.name}_high"} <= set(COLUMNS)


def test_the_unit_of_an_asymmetry_is_that_of_its_formula():
    """Of 1 and 3: an index and an angle are parts of a hundred, a ratio is plain."""
    assert [float(f(1.0, 3.0)) for f in (symmetry_index, symmetry_ratio)] == pytest.approx([100.0, 3.0])
    assert 20 < float(symmetry_angle(1.0, 3.0)) < 50
    units = {name: COLUMNS[f"step_time_{name}"].unit for name in ASYMMETRIES}
    assert units == {
        "symmetry_index": "percent",
        "symmetry_angle": "percent",
        "symmetry_ratio": "1",
        "log_ratio": "percent",
    }


def test_the_time_constant_of_a_sensor_is_given_to_a_tenth_of_a_millisecond():
    times = [column for column in ANSWERS if column.unit == "s"]
    assert {column.name for column in times} >= {"answer_time_left", "answer_time_right"}
    assert all(column.decimals == 4 for column in times if not column.name.endswith("source"))
