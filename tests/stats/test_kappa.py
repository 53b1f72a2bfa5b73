"""Agreement on categories."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.metrics import cohen_kappa_score
from statsmodels.stats.inter_rater import cohens_kappa
from strainstudy.stats.kappa import cohen_kappa, kappa_of_tables, linear_disagreement

# Cohen J 1968 Psychol Bull 70:213-220, table 1: shares of 200 judgements, and the weights of disagreement.
SHARES = np.array([[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]])
WEIGHTS = np.array([[0, 1, 3], [1, 0, 6], [3, 6, 0]], float)

tables = st.integers(2, 5).flatmap(
    lambda c: st.lists(st.integers(0, 30), min_size=c * c, max_size=c * c).map(
        lambda v: np.array(v, float).reshape(c, c)
    )
)


def test_plain_and_weighted_kappa_of_the_example_of_cohen():
    """Cohen 1968: kappa .492, weighted .348; p_o .70, p_e .41; more digits computed."""
    plain, weighted = cohen_kappa(200 * SHARES), cohen_kappa(200 * SHARES, disagreement=WEIGHTS)
    assert (plain.observed, plain.expected) == (pytest.approx(0.70), pytest.approx(0.41))
    assert plain.value == pytest.approx(0.491525, abs=5e-7)
    assert weighted.value == pytest.approx(0.347826, abs=5e-7)
    assert (round(plain.value, 3), round(weighted.value, 3)) == (0.492, 0.348)


def test_the_two_by_two_table_of_the_classroom():
    """p_o .70, p_e .50, kappa .40 (computed; as published, from memory, 95 % sure)."""
    found = cohen_kappa([[20, 5], [10, 15]])
    assert (found.observed, found.expected, found.value) == (pytest.approx(0.7), pytest.approx(0.5), pytest.approx(0.4))


@pytest.mark.filterwarnings("ignore:invalid value encountered:RuntimeWarning:statsmodels")
@settings(max_examples=60, deadline=None)
@given(tables, st.sampled_from([None, "linear", "quadratic"]))
def test_kappa_and_its_interval_equal_statsmodels(table, scheme):
    """Statsmodels ``cohens_kappa`` (Fleiss, Cohen & Everitt 1969) is the reference; sklearn for the value."""
    disagreement = None if scheme is None else linear_disagreement(len(table), 1.0 if scheme == "linear" else 2.0)
    found = cohen_kappa(table, disagreement=disagreement)
    if not math.isfinite(found.value):
        assert table.sum() == 0 or found.expected >= 1
        return
    expected = cohens_kappa(table, wt=scheme)
    assert found.value == pytest.approx(float(expected.kappa), abs=1e-10)
    half = 1.959963984540054 * math.sqrt(max(float(expected.var_kappa), 0))
    assert found.interval.low == pytest.approx(found.value - half, abs=1e-6)
    rows, columns = np.indices(table.shape)
    counts = table.astype(int).ravel()
    first, second = np.repeat(rows.ravel(), counts), np.repeat(columns.ravel(), counts)
    labels = np.arange(len(table))
    assert found.value == pytest.approx(cohen_kappa_score(first, second, labels=labels, weights=scheme), abs=1e-10)


@settings(max_examples=40, deadline=None)
@given(tables)
def test_a_stack_of_tables_gives_the_same_kappa(table):
    single = cohen_kappa(table).value
    assert kappa_of_tables(np.stack([table, 3 * table])) == pytest.approx([single, single], nan_ok=True)


def test_what_cannot_be_judged_is_said():
    assert cohen_kappa(np.zeros((2, 2))).interval.method == "none: nothing was counted"
    assert cohen_kappa([[5, 0], [0, 0]]).interval.method == "none: only one category was used"
    with pytest.raises(ValueError, match="square"):
        cohen_kappa([[1, 2, 3], [4, 5, 6]])
