"""What a number in a sheet may be: just inside its limits it passes, on the far side of them it is refused."""

import pytest
from strainstudy.intake.rules import PARTICIPANTS, RECORDINGS, SENSORS

ABOVE_NOTHING = [
    *((SENSORS, name) for name in ("r1_ohm", "r2_ohm", "r3_ohm", "rest_ohm", "gauge_length_mm")),
    *((RECORDINGS, name) for name in ("sampling_frequency", "volume_ml")),
]
TURNED_OR_NOT = ("amplifier_gain", "gauge_factor")


def refused(sheet, column, text):
    """What is said against a cell; an empty list if it may stand."""
    (rule,) = (rule for rule in sheet.rules if rule.name == column)
    return [check.message for check in rule.checks if not check.holds(text)]


@pytest.mark.parametrize(("sheet", "column"), ABOVE_NOTHING, ids=lambda x: x if isinstance(x, str) else x.file)
def test_lengths_volumes_resistances_and_rates_are_above_nothing(sheet, column):
    assert not refused(sheet, column, "0.5")
    assert not refused(sheet, column, "1000")
    for text in ("0", "-0.5"):
        assert refused(sheet, column, text) == ["out of range"]


@pytest.mark.parametrize("column", TURNED_OR_NOT)
def test_a_gain_may_turn_the_signal_round_but_not_be_nothing(column):
    assert not refused(SENSORS, column, "-0.5")
    assert not refused(SENSORS, column, "0.5")
    assert refused(SENSORS, column, "0") == ["out of range"]


@pytest.mark.parametrize(("text", "fine"), [("-1", False), ("0", True), ("130", True), ("131", False)])
def test_people_are_from_0_to_130_years_old(text, fine):
    assert (not refused(PARTICIPANTS, "age", text)) == fine


@pytest.mark.parametrize(("text", "fine"), [("1", True), ("-1", True), ("0", False), ("2", False)])
def test_a_polarity_is_a_sign(text, fine):
    assert (not refused(SENSORS, "polarity", text)) == fine
