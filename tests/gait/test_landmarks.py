"""Landmarks between the samples, on curves made of straight lines and parabolas, whose places follow from algebra."""

import numpy as np
import pytest
from strainstudy.gait.contacts import STEPS, STILL, TOP, _refine, find_landmarks
from strainstudy.gait.prepare import ANALYSIS_RATE_HZ, KneeCurve

# With this stride time the points at which a curve is read lie one sample apart.
STRIDE_S = STEPS / ANALYSIS_RATE_HZ
N = 600
SAMPLE = np.arange(N, dtype=float)


def landmarks(value, speed, near):
    curve = KneeCurve(value, speed, np.ones(N, dtype=bool))
    return find_landmarks(curve, np.array([float(near)]), np.array([STRIDE_S]))


def speeds(peak):
    """Flexion that speeds up and slows at different paces before a peak; extension that ends in a straight line."""
    at = [0, peak - 60, peak - 40, peak - 30, peak - 20, peak, peak + 10, peak + 46, peak + 66, N]
    return np.interp(SAMPLE, at, [0.0, 0.0, 1.0, 1.0, 0.0, 0.0, -1.0, -1.0, 0.05, 0.05])


@pytest.mark.parametrize("shift", [-0.4, 0.0, 0.3])
def test_the_peak_of_a_parabola_is_found_between_the_samples(shift):
    """Three points fix a parabola: its vertex is exact."""
    found = landmarks(-((SAMPLE - 300.0 - shift) ** 2), speeds(300), near=302.0)
    assert found.peak == pytest.approx(300.0 + shift, abs=1e-9)


def test_toe_off_is_the_middle_of_the_fast_spell_to_a_part_of_a_sample():
    """Flexion passes 75 % of its fastest 15 samples up a rise of 20 and 2.5 down a fall of 10."""
    found = landmarks(-((SAMPLE - 300.3) ** 2), speeds(300), near=300.0)
    up, down = 240 + 20 * TOP, 270 + 10 * (1 - TOP)
    assert found.toe_off == pytest.approx((up + down) / 2, abs=1e-9)


def test_contact_is_where_extension_has_slowed_to_its_last_part_between_the_samples():
    """Extension goes from its fastest, 1, to -0.05 in a line of 20 samples: it is 0.05 after 20 x 0.95 / 1.05."""
    found = landmarks(-((SAMPLE - 300.3) ** 2), speeds(300), near=300.0)
    assert found.contact == pytest.approx(346 + 20 * (1 - STILL) / 1.05, abs=1e-9)


def test_fast_flexion_that_fills_the_time_before_the_peak_has_its_middle_there():
    """The spell is bounded by the 0.4 strides in which toe-off is looked for: 80 samples."""
    speed = np.where(SAMPLE <= 300, 1.0, speeds(300))
    found = landmarks(-((SAMPLE - 300.0) ** 2), speed, near=300.0)
    assert found.toe_off == pytest.approx(300 - 40, abs=1e-9)


def test_on_a_slope_without_a_crest_the_peak_is_where_the_pattern_fits_best():
    found = landmarks(SAMPLE, speeds(300), near=300.0)
    assert found.peak == pytest.approx(300.0, abs=1e-9)


def test_an_extremum_is_refined_up_to_the_last_point_but_one_and_an_end_stays_where_it_is():
    """The vertex of each parabola, one row each."""
    vertex = np.array([0.8, 1.3, 5.7, 6.2])
    values = -((np.arange(8) - vertex[:, None]) ** 2)
    np.testing.assert_allclose(_refine(values, values.argmax(axis=1)), vertex)
    ends = -((np.arange(8) - np.array([[-2.0], [9.0]])) ** 2)
    assert _refine(ends, ends.argmax(axis=1)).tolist() == [0.0, 7.0]
    assert _refine(np.ones((1, 8)), np.array([3])).tolist() == [3.0]
