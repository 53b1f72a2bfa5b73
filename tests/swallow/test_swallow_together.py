"""What one recording of a sensor on a throat teaches serves the others of the session."""

import numpy as np
import pandas as pd
import pytest
from strainstudy.swallow.candidates import detect_together
from strainstudy.swallow.company import compare_with_company
from strainstudy.swallow.generic import accept_generic
from strainstudy.swallow.parameters import SwallowParameters
from throat_signals import answer, counts, labels_of, movements, throat_stream

PARAMETERS = SwallowParameters()


@pytest.mark.parametrize("kind", ["lets_go", "rings"])
def test_one_swallow_among_talk_is_told_by_what_other_recordings_of_the_session_show(kind):
    """Alone it does not show what the sensor makes of a swallow, nor what is typical of the person."""
    acts = [
        ("speech", 5, 4.0, 1.0),
        ("swallow", 14, 1.1, 1.0),
        ("speech", 20, 5.0, 1.0),
        ("speech", 30, 4.0, 1.0),
        ("cough", 38, 0.8, 1.0),
        ("head", 44, 3.0, 1.5),
        ("speech", 52, 4.0, 1.0),
    ]
    alone, together = np.zeros(3, dtype=int), np.zeros(3, dtype=int)
    for seed in range(5):
        rng = np.random.default_rng(seed)
        stream = answer(movements(acts, 60.0, 100.0, rng), 100.0, kind) + 0.01 * rng.standard_normal(6000)
        other, _ = throat_stream(seed + 40, kind)
        (found,) = detect_together([(stream, 100.0)], PARAMETERS)
        alone += counts(found[accept_generic(found, PARAMETERS)], labels_of(acts))
        found, _ = detect_together([(stream, 100.0), (other, 100.0)], PARAMETERS)
        together += counts(found[accept_generic(found, PARAMETERS)], labels_of(acts))
    assert together.tolist() == [5, 0, 0]
    assert alone[1] + alone[2] > 1


def test_order_of_the_recordings_does_not_matter():
    first, second = throat_stream(2)[0], throat_stream(3)[0]
    a, b = detect_together([(first, 100.0), (second, 100.0)], PARAMETERS)
    other_b, other_a = detect_together([(second, 100.0), (first, 100.0)], PARAMETERS)
    for one, two in ((a, other_a), (b, other_b)):
        np.testing.assert_array_equal(one["onset"], two["onset"])


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
