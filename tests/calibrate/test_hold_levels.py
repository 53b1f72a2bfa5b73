"""Holds read in a response that is written down: levels, branches and the straight leg between."""

import numpy as np
import pandas as pd
import pytest
from strainstudy.calibrate.holds import hold_levels
from strainstudy.calibrate.parameters import CalibrateParameters

FS = 50.0
P = CalibrateParameters()
# Seconds and degrees: down to 45, to 90, back to 45, straight, a second of movement between.
POINTS = [(0, 0), (8, 0), (9, 45), (15, 45), (16, 90), (22, 90), (23, 45), (29, 45), (30, 0), (40, 0)]
LABELS = pd.DataFrame(
    {"onset": [9.2, 16.2, 23.2], "duration": [5.6, 5.6, 5.6], "value": [45.0, 90.0, 45.0], "trial_type": "knee_bend"}
)


def response(per_degree=0.01):
    return per_degree * np.interp(np.arange(2000) / FS, *zip(*POINTS, strict=True))


@pytest.mark.parametrize("sign", [1, -1])
def test_levels_angles_and_branches_are_those_of_the_movement(sign):
    x = response(0.01 * sign)
    found = hold_levels(x, np.full(x.size, 0.2), FS, LABELS, P)
    bent = found[found["labelled"].astype(bool)]
    assert bent["angle"].tolist() == [45.0, 90.0, 45.0]
    np.testing.assert_allclose(bent["level"], sign * np.array([0.45, 0.9, 0.45]), atol=1e-9)
    np.testing.assert_allclose(bent["absolute"], bent["level"] + 0.2)
    assert bent["direction"].tolist() == ["flexing", "flexing", "extending"]
    np.testing.assert_allclose(bent["branch"], [1.0, 1.0, -1.0], atol=1e-9)
    np.testing.assert_allclose(bent["onset"], [9.2, 16.2, 23.2], atol=0.021)
    np.testing.assert_allclose(bent["duration"], 5.6, atol=0.041)
    np.testing.assert_allclose(bent["creep"], 0.0, atol=1e-9)
    straight = found[~found["labelled"].astype(bool)]
    np.testing.assert_allclose(straight["level"], 0.0, atol=1e-9)
    assert straight["angle"].tolist() == [0.0, 0.0]
    assert straight["direction"].tolist()[1] == "extending"
    assert found["onset"].is_monotonic_increasing


def test_a_small_step_back_lies_between_the_branches():
    """Back by a tenth of the range: a quarter of it would reach the other branch."""
    x = response()
    t = np.arange(x.size) / FS
    x = np.where((t >= 22.0) & (t < 29), np.interp(t, [22.0, 22.3, 28.5, 29.0], [0.9, 0.8, 0.8, 0.45]), x)
    labels = LABELS.assign(onset=[9.2, 16.2, 22.6], value=[45.0, 90.0, 80.0])
    found = hold_levels(x, np.zeros(x.size), FS, labels, P)
    assert found.loc[found["angle"] == 80, "direction"].tolist() == ["between"]


def test_a_generous_label_does_not_take_in_the_straight_leg_and_a_gap_or_no_plateau_gives_no_hold():
    x = response()
    wide = LABELS.iloc[[0]].assign(onset=4.0, duration=11.0)
    found = hold_levels(x, np.zeros(x.size), FS, wide, P)
    assert found.loc[found["labelled"].astype(bool), "level"].tolist() == pytest.approx([0.45])
    holed = np.where((np.arange(x.size) > 430) & (np.arange(x.size) < 760), np.nan, x)
    found = hold_levels(holed, np.zeros(x.size), FS, LABELS, P)
    assert found.loc[found["labelled"].astype(bool), "angle"].tolist() == [90.0, 45.0]
    for nothing in (np.full(2000, np.nan), np.zeros(2000)):
        assert hold_levels(nothing, np.zeros(2000), FS, LABELS, P).empty
    assert hold_levels(x, np.zeros(2000), FS, LABELS.assign(value=np.nan), P).empty
