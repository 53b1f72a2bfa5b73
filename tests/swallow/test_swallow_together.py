"""What one recording of a sensor on a throat teaches serves the others of the session."""

import numpy as np
import pandas as pd
import pytest
from strainstudy.swallow import SwallowParameters, accept_generic, detect_candidates, detect_together
from strainstudy.swallow.company import compare_with_company
from throat_signals import answer, counts, labels_of, movements, throat_stream

PARAMETERS = SwallowParameters()


@pytest.mark.parametrize("seed", range(3))
def test_a_short_drink_under_a_sensor_that_lets_go_is_counted_by_what_lone_swallows_of_the_session_show(seed):
    """Three sips in a row do not tell which down belongs to which up."""
    rng, acts, at = np.random.default_rng(seed), [], 3.0
    for _ in range(3):
        acts.append(("swallow", at, 0.85 * rng.normal(1, 0.08), rng.lognormal(0, 0.2)))
        at += acts[-1][2] + rng.uniform(0.2, 0.6)
    drinking = answer(movements(acts, at + 4, 100.0, rng), 100.0, "lets_go")
    drinking = drinking + 0.003 * np.ptp(drinking) * rng.standard_normal(len(drinking))
    labels = labels_of(acts)
    other, _ = throat_stream(20, "lets_go", noise=0.004)
    alone = detect_candidates(drinking, 100.0, PARAMETERS)
    together, _ = detect_together([(drinking, 100.0), (other, 100.0)], PARAMETERS)
    assert counts(together[accept_generic(together, PARAMETERS)], labels) == (3, 0, 0)
    assert counts(alone[accept_generic(alone, PARAMETERS)], labels)[0] < 3


def test_order_of_the_recordings_does_not_matter_and_one_alone_is_as_by_itself():
    first, second = throat_stream(2)[0], throat_stream(3)[0]
    a, b = detect_together([(first, 100.0), (second, 100.0)], PARAMETERS)
    other_b, other_a = detect_together([(second, 100.0), (first, 100.0)], PARAMETERS)
    for one, two in ((a, other_a), (b, other_b)):
        np.testing.assert_array_equal(one["onset"], two["onset"])
    pd.testing.assert_frame_equal(
        detect_together([(first, 100.0)], PARAMETERS)[0], detect_candidates(first, 100.0, PARAMETERS)
    )


def test_recordings_of_other_rates_and_without_a_signal_may_stand_beside():
    stream, _ = throat_stream(2)
    found = detect_together([(np.full(500, np.nan), 100.0), (stream, 100.0), (stream[::2], 50.0)], PARAMETERS)
    assert [len(frame) > 10 for frame in found] == [False, True, True]
    assert list(found[0].columns) == list(found[1].columns)


def _measured(pauses, sizes):
    m = len(sizes)
    return pd.DataFrame(
        {
            "size": sizes,
            "duration_s": np.ones(m),
            "pause_before_s": [5.0, *pauses],
            "pause_after_s": [*pauses, 5.0],
            "pattern_likeness": np.ones(m),
        }
    )


def test_company_is_who_is_near():
    waves = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    found = compare_with_company(waves, _measured([0.2, 3.0], [1.0, np.e, 5.0]), np.array([1.0, 0.5, 0.2]))
    assert found["neighbour_unlikeness"] == pytest.approx([0.0, 0.0, 0.0])
    assert found["neighbour_size_difference"] == pytest.approx([1.0, 1.0, 0.0])
    assert found["run_plausibility"] == pytest.approx([0.75, 0.75, 0.2])
    # Standard deviation of 0 and 1 with n - 1.
    assert found["run_size_spread"] == pytest.approx([np.sqrt(0.5), np.sqrt(0.5), 0.0])


def test_of_two_neighbours_the_more_alike_counts():
    waves = np.array([[1.0, 0.0], [1.0, 0.0], [0.6, 0.8]])
    found = compare_with_company(waves, _measured([0.2, 0.2], [1.0, 1.0, 1.0]), np.ones(3))
    assert found["neighbour_unlikeness"] == pytest.approx([0.0, 0.0, 0.4])
