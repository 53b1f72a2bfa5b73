import numpy as np
import pytest
from strainstudy.condition.response import relative_change, rest_level, strain


def test_rest_level_of_a_walking_knee_is_the_extended_level():
    t = np.arange(6000) / 100
    swing = np.exp(-((((t / 1.1) % 1 - 0.6) / 0.1) ** 2))
    assert rest_level(1000 * (1 + 0.5 * swing), 100, one_sided=True) == pytest.approx(1000, rel=0.05)
    assert rest_level(1000 * (1 - 0.3 * swing), 100, one_sided=True) == pytest.approx(1000, rel=0.05)


def test_rest_level_of_a_throat_is_its_middle():
    t = np.arange(6000) / 100
    bursts = np.where((t % 10) < 0.5, 200.0, 0.0) - np.where(((t - 1) % 10) < 0.5, 150.0, 0.0)
    assert rest_level(1000 + bursts, 100, one_sided=False) == pytest.approx(1000, rel=0.01)


def test_rest_level_of_nothing_is_unknown():
    assert np.isnan(rest_level(np.full(10, np.nan), 100, one_sided=True))


def test_gauge_factor_is_relative_change_over_strain():
    """Definition: GF = (dR/R0) / strain."""
    change = relative_change(np.array([1000.0, 1500.0]), 1000.0)
    assert change.tolist() == [0.0, 0.5]
    assert strain(change, 5.0).tolist() == [0.0, 0.1]


@pytest.mark.parametrize("gauge_factor", [None, float("nan"), 0.0])
def test_without_a_gauge_factor_there_is_no_strain(gauge_factor):
    assert np.isnan(strain([0.1, 0.2], gauge_factor)).all()


@pytest.mark.parametrize("rest", [0.0, -5.0, float("nan")])
def test_an_impossible_rest_resistance_gives_no_response(rest):
    assert np.isnan(relative_change([1.0, 2.0], rest)).all()
