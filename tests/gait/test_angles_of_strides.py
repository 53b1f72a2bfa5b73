"""Sizes of strides in degrees: read in the calibrated angle, on strides and curves written down."""

import numpy as np
import pandas as pd
from strainstudy.gait.angles import in_degrees


def strides(**columns):
    made = {"side": ["left", "left", "right"], "onset": [1.0, 2.0, 1.5], "stride_time": [1.0, 1.0, 1.0]}
    sizes = {"swing_peak": 9.0, "range_of_motion": 9.0, "response_range": 0.3}
    return pd.DataFrame(made | columns).assign(**sizes)


def test_the_swing_peak_is_the_highest_in_the_second_half_of_the_stride():
    """A loading wave of 70 degrees at 20 % is higher than the swing of 60 at 70 %, and no swing."""
    t = np.arange(400) / 100
    cycle = t % 1.0
    angle = 5.0 + np.where(np.abs(cycle - 0.2) < 0.02, 65.0, 0.0) + np.where(np.abs(cycle - 0.7) < 0.02, 55.0, 0.0)
    found = in_degrees(strides(), {"left": angle}, 100.0)
    assert found["swing_peak"].tolist()[:2] == [60.0, 60.0]
    assert found["range_of_motion"].tolist()[:2] == [65.0, 65.0]
    # a side without an angle has no degrees, and the response keeps its own unit
    assert found.loc[2, ["swing_peak", "range_of_motion"]].isna().all()
    assert (found["response_range"] == 0.3).all()


def test_each_side_is_read_in_its_own_angle_whatever_the_rows_are_called():
    t = np.arange(800) / 200
    rows = strides().set_axis([7, 3, 5])
    found = in_degrees(rows, {"left": 10 * t, "right": 20 * t, "none": t}, 200.0)
    np.testing.assert_allclose(found["swing_peak"], [20.0, 30.0, 50.0])
    np.testing.assert_allclose(found["range_of_motion"], [10.0, 10.0, 20.0])
    only = in_degrees(rows[rows["side"] == "left"], {"right": 20 * t}, 200.0)
    assert only["swing_peak"].isna().all()
