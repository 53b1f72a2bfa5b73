"""Probabilities under other mixes of states."""

import numpy as np
import pandas as pd
import pytest
from strainstudy.gait.mixes import mix_rows

N = 40_000


@pytest.fixture(scope="module")
def predictions():
    """A test result of known likelihood ratio, its posterior for half limping: calibrated there by construction."""
    rng = np.random.default_rng(5)
    limping = np.arange(N) % 2 == 1
    x = rng.standard_normal(N) + np.where(limping, 1.0, -1.0)
    return pd.DataFrame(
        {
            "participant_id": np.array(["sub-01", "sub-02"])[np.arange(N) % 4 // 2],
            "label": np.where(limping, "limping_gait", "normal_gait"),
            # Two normal densities one apart from 0 either way: the log likelihood ratio is 2 x.
            "probability_limping": 1.0 / (1.0 + np.exp(-2.0 * x)),
        }
    )


@pytest.mark.parametrize("mix", [0.05, 0.25, 0.5])
def test_a_calibrated_probability_brought_to_a_mix_says_that_mix_on_average(predictions, mix):
    """The mean of a calibrated probability is the share of the class (law of total expectation)."""
    plain, told = mix_rows(predictions, 0.5, [mix]).itertuples()
    assert told.mean_probability == pytest.approx(mix, abs=0.01)
    assert plain.mean_probability > told.mean_probability or mix == 0.5
    assert told.log_loss <= plain.log_loss + 1e-12


def test_shares_called_limping_are_of_the_windows_of_each_state(predictions):
    """Half limping: called so from x = 0 on, P(x > 0) = 0.841 one standard deviation above 0 (normal distribution)."""
    row = mix_rows(predictions, 0.5, [0.5]).iloc[0]
    assert row["recall"] == pytest.approx(0.841, abs=0.01)
    assert row["false_limping"] == pytest.approx(0.159, abs=0.01)


def test_windows_without_label_or_probability_do_not_count(predictions):
    some = predictions.head(100)
    odd = some.head(2).assign(label=[None, "normal_gait"], probability_limping=[0.9, np.nan])
    pd.testing.assert_frame_equal(mix_rows(pd.concat([some, odd]), 0.5, [0.1]), mix_rows(some, 0.5, [0.1]))
