"""Probabilities for another mix of classes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.learn.prior import with_prevalence

SHARES = st.floats(0.01, 0.99)


@pytest.mark.parametrize("trained", [0.5, 0.2])
def test_a_positive_screen_for_a_rare_disease_is_mostly_a_false_one(trained):
    """Eddy's mammography problem: 1 % prevalence, 80 % sensitivity, 9.6 % false positives give 7.8 %.

    Gigerenzer & Hoffrage 1995, Psychol Rev 102(4):684-704 (from memory).
    """
    as_trained = 0.8 * trained / (0.8 * trained + 0.096 * (1 - trained))
    assert with_prevalence(np.array([as_trained]), trained, 0.01)[0] == pytest.approx(0.078, abs=0.0005)


@given(p=st.floats(0.0, 1.0), trained=SHARES, here=SHARES)
def test_the_odds_change_by_the_ratio_of_the_prior_odds_and_back(p, trained, here):
    """Bayes in odds: posterior odds are prior odds times the likelihood ratio."""
    (shifted,) = with_prevalence(np.array([p]), trained, here)
    assert shifted * (1 - p) * trained * (1 - here) == pytest.approx(
        p * (1 - shifted) * here * (1 - trained), abs=1e-12
    )
    assert with_prevalence(np.array([shifted]), here, trained)[0] == pytest.approx(p, abs=1e-9)


def test_the_mix_of_training_changes_nothing_and_no_probability_stays_none():
    p = np.array([0.0, 0.3, 1.0, np.nan])
    np.testing.assert_allclose(with_prevalence(p, 0.4, 0.4), p)
