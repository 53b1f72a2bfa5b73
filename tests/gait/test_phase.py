"""Phase and coordination index."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.gait.phase import coordination_index_from, phase_deg


def index_of(phases):
    """Give the index of phases in degrees."""
    return coordination_index_from(np.mean(phases), np.std(phases, ddof=1), np.abs(np.subtract(phases, 180)).mean())


def test_left_right_phase_is_180_degrees_for_a_half_cycle_shift():
    """Definition of Plotnik, Giladi & Hausdorff 2007, Exp Brain Res 181:561: a stride is 360 degrees."""
    onset = np.arange(10) * 1.1
    assert phase_deg(onset, 1.1, onset + 0.55) == pytest.approx(np.full(10, 180.0))


def test_perfect_alternation_has_index_zero():
    """Plotnik et al. 2007: variability and deviation are both 0."""
    assert index_of(np.full(20, 180.0)) == 0.0


def test_constant_phase_of_190_degrees_has_index_5_556():
    """Plotnik et al. 2007: variability 0, deviation 100 * 10 / 180."""
    assert index_of(np.full(20, 190.0)) == pytest.approx(5.5556, abs=1e-4)


def test_index_adds_variability_and_deviation():
    """Worked by hand: phases 170 and 190 have mean 180, SD 14.1421 (7.8567 %) and mean deviation 10 (5.5556 %)."""
    assert index_of([170.0, 190.0]) == pytest.approx(7.8567 + 5.5556, abs=1e-4)


@given(st.floats(0.5, 3.0), st.floats(0.05, 0.95))
def test_phase_does_not_depend_on_pace_or_start(stride, part):
    assert float(phase_deg(7.0, stride, 7.0 + part * stride)) == pytest.approx(360 * part, abs=1e-6)
