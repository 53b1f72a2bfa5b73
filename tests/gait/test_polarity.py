"""Which way is flexion, worked by hand from the fits either way up and from how the knees take turns."""

import pytest
from strainstudy.gait.polarity import infer_polarity

IN_TURN = {(1, 1): 1.0, (1, -1): -1.0, (-1, 1): -1.0, (-1, -1): 1.0}
TOGETHER = {signs: -value for signs, value in IN_TURN.items()}
UNKNOWN = dict.fromkeys(IN_TURN, 0.0)


@pytest.mark.parametrize(("upright", "inverted", "sign"), [(0.9, 0.5, 1), (0.5, 0.9, -1)])
def test_one_knee_goes_by_its_own_fit_and_the_margin_is_what_it_fits_better(upright, inverted, sign):
    found = infer_polarity({"right": (upright, inverted)}, None)["right"]
    assert found.sign == sign
    assert found.margin == pytest.approx(0.4)


@pytest.mark.parametrize("right", [1, -1])
def test_two_clear_knees_keep_their_way_up_even_if_they_bend_together(right):
    """Each fits better by 0.4: 0.8 - 0.15 beside 0.15 with one of them turned, and 0.02 for sensors mounted alike."""
    fits = {"left": (0.9, 0.5), "right": (0.9, 0.5)[::right]}
    between = {(a, b): -1.0 if (a, b) == (1, right) else 1.0 for a, b in IN_TURN}
    found = infer_polarity(fits, between)
    assert (found["left"].sign, found["right"].sign) == (1, right)
    kept, turned = 0.8 - 0.15 + 0.02 * right, 0.15 - 0.02 * right
    assert found["left"].margin == found["right"].margin == pytest.approx((kept - turned) / 2)


def test_a_stiff_knee_that_looks_alike_either_way_up_is_turned_by_taking_turns_with_the_other():
    """Upside down fits better by 0.05: without turns 0.43 beside 0.37, with them 0.28 beside 0.52."""
    fits = {"left": (0.9, 0.5), "right": (0.60, 0.65)}
    by_turns = infer_polarity(fits, IN_TURN)["right"]
    assert by_turns.sign == 1
    assert by_turns.margin == pytest.approx((0.52 - 0.28) / 2)
    assert infer_polarity(fits, UNKNOWN)["right"].sign == -1
    # with the sides the other way about
    assert infer_polarity(dict(reversed(fits.items())), IN_TURN)["right"].sign == 1


def test_a_pattern_without_a_right_way_up_does_not_ask_the_knees_to_take_turns():
    """Both fit better by 0.01, which is all that turns count then: less than sensors mounted alike."""
    found = infer_polarity({"left": (0.75, 0.74), "right": (0.75, 0.74)}, TOGETHER)
    assert (found["left"].sign, found["right"].sign) == (1, 1)
    assert found["left"].margin == pytest.approx((0.02 - 0.01 + 0.02 - (0.01 - 0.02)) / 2)


def test_where_nothing_else_decides_both_sensors_are_mounted_alike():
    found = infer_polarity({"left": (0.9, 0.5), "right": (0.7, 0.7)}, UNKNOWN)
    assert (found["left"].sign, found["right"].sign) == (1, 1)
    assert found["right"].margin == pytest.approx(0.02)
    inverted = infer_polarity({"left": (0.5, 0.9), "right": (0.7, 0.7)}, UNKNOWN)
    assert (inverted["left"].sign, inverted["right"].sign) == (-1, -1)
