"""Agreement on categories."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.metrics import cohen_kappa_score
from strainstudy.stats.kappa import kappa_of_tables

# Cohen J 1968 Psychol Bull 70:213-220, table 1: shares of 200 judgements.
SHARES = np.array([[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]])

tables = st.integers(2, 5).flatmap(
    lambda c: st.lists(st.integers(0, 30), min_size=c * c, max_size=c * c).map(
        lambda v: np.array(v, float).reshape(c, c)
    )
)


def test_kappa_of_the_example_of_cohen_and_of_the_table_of_the_classroom():
    """Cohen 1968: kappa .492 (p_o .70, p_e .41; more digits computed); 20, 5, 10, 15: .40 (from memory, 95 % sure)."""
    assert kappa_of_tables(200 * SHARES[None])[0] == pytest.approx(0.491525, abs=5e-7)
    assert kappa_of_tables(np.array([[[20.0, 5.0], [10.0, 15.0]]]))[0] == pytest.approx(0.40)


@settings(max_examples=60, deadline=None)
@given(tables)
def test_every_table_of_a_stack_gives_the_kappa_of_scikit_learn(table):
    """scikit-learn's ``cohen_kappa_score`` is the reference; seconds in another unit change nothing."""
    found = kappa_of_tables(np.stack([table, 3 * table]))
    shares = table / table.sum() if table.sum() else table
    if table.sum() == 0 or shares.sum(axis=0) @ shares.sum(axis=1) >= 1 - 1e-12:
        assert np.isnan(found).all()
        return
    rows, columns = np.indices(table.shape)
    counts = table.astype(int).ravel()
    first, second = np.repeat(rows.ravel(), counts), np.repeat(columns.ravel(), counts)
    expected = cohen_kappa_score(first, second, labels=np.arange(len(table)))
    assert found == pytest.approx([expected, expected], abs=1e-10)
