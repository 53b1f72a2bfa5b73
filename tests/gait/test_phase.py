"""Phase and coordination index."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.gait.phase import coordination_index, phase_deg


def test_left_right_phase_is_180_degrees_for_a_half_cycle_shift():
    """Definition of Plotnik, Giladi & Hausdorff 2007, Exp Brain Res 181:561: a stride is 360 degrees."""
    onset = np.arange(10) * 1.1
    assert phase_deg(onset, 1.1, onset + 0.55) == pytest.approx(np.full(10, 180.0))


@pytest.mark.parametrize(
    ("phases", "index"), [([180.0, 180.0], 0.0), ([190.0, 190.0], 5.5556), ([170.0, 190.0], 7.8567 + 5.5556)]
)
def test_index_adds_variability_and_deviation(phases, index):
    """Plotnik et al. 2007, worked by hand: 170 and 190 have SD 14.1421 (7.8567 %) and lie 10 off (5.5556 %)."""
    away = np.abs(np.array(phases) - 180.0).mean()
    assert coordination_index(np.mean(phases), np.std(phases, ddof=1), away) == pytest.approx(index, abs=1e-4)


@given(st.floats(0.5, 3.0), st.floats(0.05, 0.95))
def test_phase_does_not_depend_on_pace_or_start(stride, part):
    assert float(phase_deg(7.0, stride, 7.0 + part * stride)) == pytest.approx(360 * part, abs=1e-6)
