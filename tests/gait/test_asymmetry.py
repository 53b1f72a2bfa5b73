"""Asymmetry formulas against their published worked examples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.gait.asymmetry import (
    log_ratio,
    symmetry_angle,
    symmetry_index,
    symmetry_ratio,
)

# Int J Phys Med Rehabil 2014, 2:201, Table 1 (fictive data): step length of the non-paretic and the paretic leg in
# metres, ratio NP/P, symmetry index and symmetry angle in percent.
TABLE = [
    (0.39, 0.25, 1.56, 43.75, -13.71),
    (0.59, 0.40, 1.48, 38.38, -12.07),
    (0.47, 0.37, 1.27, 23.81, -7.54),
]


@pytest.mark.parametrize(("non_paretic", "paretic", "ratio", "index", "angle"), TABLE)
def test_published_subjects_are_reproduced(non_paretic, paretic, ratio, index, angle):
    """Table 1 of Int J Phys Med Rehabil 2:201; there the angle is taken of NP/P and the index of NP - P."""
    assert float(symmetry_ratio(paretic, non_paretic)) == pytest.approx(ratio, abs=0.0051)
    assert float(symmetry_index(paretic, non_paretic)) == pytest.approx(index, abs=0.0051)
    assert float(symmetry_angle(non_paretic, paretic)) == pytest.approx(angle, abs=0.0051)


@pytest.mark.parametrize(("non_paretic", "paretic", "ratio", "index", "angle"), TABLE)
def test_swapped_legs_turn_the_signs(non_paretic, paretic, ratio, index, angle):
    """Subjects 4 to 6 of the same table are subjects 1 to 3 with the legs swapped."""
    assert float(symmetry_index(non_paretic, paretic)) == pytest.approx(-index, abs=0.0051)
    assert float(symmetry_angle(paretic, non_paretic)) == pytest.approx(-angle, abs=0.0051)


@pytest.mark.parametrize(
    ("ratio", "index", "log", "angle"),
    [(1.1, 9.524, 9.531, 3.029), (1.2, 18.182, 18.232, 5.772), (2.0, 66.667, 69.315, 20.483)],
)
def test_measures_of_plain_ratios(ratio, index, log, angle):
    """Worked out by hand from the formulas of Robinson 1987, Plotnik 2005 and Zifchock 2008."""
    assert float(symmetry_index(1.0, ratio)) == pytest.approx(index, abs=5e-4)
    assert float(log_ratio(1.0, ratio)) == pytest.approx(log, abs=5e-4)
    assert float(symmetry_angle(1.0, ratio)) == pytest.approx(angle, abs=5e-4)


@pytest.mark.parametrize(
    ("left", "right", "index", "angle", "ratio", "log"),
    [
        (0.0, 0.0, 0.0, 0.0, 1.0, 0.0),
        (0.0, 2.0, 200.0, 50.0, np.nan, np.nan),
        (2.0, 0.0, -200.0, -50.0, 0.0, np.nan),
        (-1.0, 1.0, np.nan, 100.0, -1.0, np.nan),
        (np.nan, 1.0, np.nan, np.nan, np.nan, np.nan),
    ],
)
def test_zeros_have_a_defined_result(left, right, index, angle, ratio, log):
    """Limits of the formulas; division by zero alone gives NaN, never infinity or a warning."""
    found = [float(f(left, right)) for f in (symmetry_index, symmetry_angle, symmetry_ratio, log_ratio)]
    assert found == pytest.approx([index, angle, ratio, log], nan_ok=True)


@given(st.floats(0.01, 1e4), st.floats(0.01, 1e4), st.floats(0.01, 1e3))
def test_gain_common_to_both_sides_changes_nothing(left, right, gain):
    """All four measures are functions of the ratio of the sides."""
    for measure in (symmetry_index, symmetry_angle, symmetry_ratio, log_ratio):
        assert float(measure(left * gain, right * gain)) == pytest.approx(float(measure(left, right)), abs=1e-6)


@given(st.floats(0.01, 1e4), st.floats(0.01, 1e4))
def test_signed_measures_are_odd(left, right):
    assert float(symmetry_index(left, right)) == pytest.approx(-float(symmetry_index(right, left)), abs=1e-9)
    assert float(symmetry_angle(left, right)) == pytest.approx(-float(symmetry_angle(right, left)), abs=1e-6)
    assert float(log_ratio(left, right)) == pytest.approx(-float(log_ratio(right, left)), abs=1e-9)
