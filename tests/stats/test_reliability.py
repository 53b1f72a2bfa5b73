"""Intraclass correlation, standard error of measurement, detectable change."""

import math

import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from registry import wheel_member
from strainstudy.stats.reliability import icc, mean_squares, minimal_detectable_change

# Shrout PE, Fleiss JL 1979 Psychol Bull 86:420-428, table 2: six targets by four judges.
JUDGES = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float)


def test_mean_squares_of_the_example_of_shrout_and_fleiss():
    """Shrout & Fleiss 1979, table 3: BMS 11.24, WMS 6.26, JMS 32.49, EMS 1.02; more digits computed."""
    found = mean_squares(JUDGES)
    assert found.between == pytest.approx(11.241667, abs=5e-7)
    assert found.within == pytest.approx(6.263889, abs=5e-7)
    assert found.raters == pytest.approx(32.486111, abs=5e-7)
    assert found.error == pytest.approx(1.019444, abs=5e-7)


@pytest.mark.parametrize(
    ("kind", "printed", "exact"),
    [
        ("2,1", 0.29, 0.289764),
        ("3,1", 0.71, 0.714841),
    ],
)
def test_both_coefficients_of_the_example(kind, printed, exact):
    """Shrout & Fleiss 1979, table 4; more digits computed."""
    value = icc(JUDGES, kind).value
    assert round(value, 2) == printed
    assert value == pytest.approx(exact, abs=5e-7)


def test_error_and_detectable_change_of_the_example():
    """Weir JP 2005 J Strength Cond Res 19:231-240: SEM = sqrt(EMS), MDC = 1.96 sqrt(2) SEM (from memory, 98 % sure)."""
    found = mean_squares(JUDGES)
    assert found.standard_error == pytest.approx(1.009675, abs=5e-7)
    assert minimal_detectable_change(found.standard_error) == pytest.approx(2.798677, abs=5e-7)


def reference(table):
    """Pingouin's ICC(2,1) and ICC(3,1) with intervals: the second and third of its six."""
    n, k = table.shape
    frame = pd.DataFrame(
        {"target": np.repeat(np.arange(n), k), "rater": np.tile(np.arange(k), n), "score": table.ravel()}
    )
    result = pingouin.intraclass_corr(frame, targets="target", raters="rater", ratings="score")
    interval = next(name for name in result.columns if name.startswith("CI95"))
    return result["ICC"].to_numpy()[1:3], np.stack(result[interval].to_numpy())[1:3]


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.integers(5, 25), st.integers(2, 5), st.sampled_from([0.3, 1.0, 3.0]))
def test_values_and_intervals_equal_pingouin(seed, n, k, spread):
    """Pingouin 0.7 ``intraclass_corr`` is the reference (limits rounded there to two decimals)."""
    rng = np.random.default_rng(seed)
    table = spread * rng.normal(size=(n, 1)) + 0.5 * rng.normal(size=(1, k)) + rng.normal(size=(n, k))
    values, limits = reference(table)
    for kind, value, (low, high) in zip(("2,1", "3,1"), values, limits, strict=True):
        found = icc(table, kind)
        assert found.value == pytest.approx(value, abs=1e-6)
        assert found.interval.low == pytest.approx(low, abs=0.00501)
        assert found.interval.high == pytest.approx(high, abs=0.00501)


def test_the_wine_example_of_pingouin():
    """Pingouin's example data ``icc``: 8 x 4, ICC(2,1) 0.7277, ICC(3,1) 0.7295."""
    data = pingouin.read_dataset("icc").pivot_table(index="Wine", columns="Judge", values="Scores").to_numpy(float)
    assert data.shape == (8, 4)
    assert icc(data, "2,1").value == pytest.approx(0.7277, abs=5e-5)
    assert icc(data, "3,1").value == pytest.approx(0.7295, abs=5e-5)


def test_goniometer_knees_between_devices():
    """Eliasziw M et al. 1994 Phys Ther 74:777-788 (journal from memory): 29 knees, two goniometers, three repeats. Mean
    squares 312.781 (devices), 84.144... of the three-way layout are computed from the data; ICC of repeats within a
    device 0.98.
    """
    path = wheel_member(
        "pyirr", "0.84.1.2", "pyirr/data/gonio.csv", "fd33c1879b6e0861a6dcfe60d6ace152cb381b6d4c7e451d7bf07a3b268237a1"
    )
    data = pd.read_csv(path, index_col=0).to_numpy(float)
    means = np.stack([data[:, :3].mean(axis=1), data[:, 3:].mean(axis=1)], axis=1)
    squares = mean_squares(means)
    # Device means: times 3 repeats these are the knee, device and knee-by-device mean squares of the paper's layout.
    assert 3 * squares.between == pytest.approx(312.781, abs=5e-4)
    assert 3 * squares.raters == pytest.approx(84.144, abs=5e-4)
    assert 3 * squares.error == pytest.approx(4.501, abs=5e-4)


def test_limits_hold_the_truth_about_as_often_as_they_say():
    """Simulation: 20 people, 3 random raters, variances 1, 0.25, 0.5: ICC(2,1) = 1 / 1.75, 400 studies."""
    rng = np.random.default_rng(4)
    hits = 0
    for _ in range(400):
        table = rng.normal(size=(20, 1)) + 0.5 * rng.normal(size=(1, 3)) + math.sqrt(0.5) * rng.normal(size=(20, 3))
        found = icc(table, "2,1").interval
        hits += found.low <= 1 / 1.75 <= found.high
    assert 0.90 <= hits / 400 <= 0.99


def test_perfect_and_missing_data_are_said_in_words():
    same = np.array([[1.0, 1.0], [2.0, 2.0], [5.0, 5.0]])
    assert [icc(same, kind).value for kind in ("2,1", "3,1")] == pytest.approx([1.0, 1.0])
    assert icc(np.ones((4, 2))).interval.method == "none: all values are the same"
    assert icc([[1.0, math.nan], [2.0, 2.0]]).interval.method == "none: fewer than 2 complete rows"
    with pytest.raises(ValueError, match="two or more ratings"):
        icc([[1.0], [2.0]])


def test_incomplete_rows_are_left_out():
    holed = np.vstack([JUDGES, [[np.nan, 1, 2, 3]]])
    assert icc(holed, "2,1") == icc(JUDGES, "2,1")
