"""Windows that a label touches without covering them."""

import pandas as pd
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.gait.task import labelled_windows


def test_a_window_across_two_labels_is_touched_and_one_beside_them_is_not():
    windows = pd.DataFrame(
        {
            "recording_id": ["a", "a", "a", "b"],
            "onset": [0.0, 8.0, 30.0, 0.0],
            "duration": 6.0,
            "time": [3.0, 11, 33, 3],
        }
    )
    labels = pd.DataFrame(
        {
            "onset": [0.0, 10.0, 32.0], "duration": [10.0, 10.0, 0.0], "side": None,
            "trial_type": ["normal_gait", "limping_gait", "initial_contact"],
        }
    )  # fmt: skip
    found = labelled_windows(windows, {"a": labels}, ClassifyParameters())
    assert found["label"].tolist() == ["normal_gait", None, None, None]
    assert found["touched"].tolist() == [True, True, False, False]
