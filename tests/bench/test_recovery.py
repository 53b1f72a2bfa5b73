"""A small part of the parameter-recovery table; tests/bench/recovery.py makes the whole."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from recovery import CELLS, recover, summary

CHOSEN = ("gauge factor 50", "hysteresis 20 %", "creep 1 s", "noise 1 % of full scale")


@pytest.fixture(scope="module")
def found():
    return recover(tuple(cell for cell in CELLS if cell.name in CHOSEN), 5)


def test_95_percent_intervals_hold_the_truth_of_known_benches(found):
    """Truth: the simulator's parameters, or the definitions applied to its noise-free answer."""
    assert found["covered"].mean() >= 0.91
    assert (found.groupby("figure")["covered"].mean() >= 0.7).all()


def test_figures_are_within_two_percent_of_known_benches(found):
    table = summary(found)
    precise = table[table["figure"].isin(["gauge_factor", "response_time", "creep_time_1", "noise_floor"])]
    assert (precise["bias"].abs() <= 0.02 * precise["truth"].abs()).all()
    loops = table[table["figure"].isin(["hysteresis", "linearity"])]
    assert (loops["bias"].abs() <= 0.4).all()
