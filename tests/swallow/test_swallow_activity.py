"""The bands that activity is made of."""

import numpy as np
import pytest
from strainstudy.swallow.activity import activity_of

FS = 100.0


@pytest.mark.parametrize(("hertz", "part"), [(3.0, "slow"), (12.0, "level")])
def test_a_band_ends_where_it_says_with_both_passes_together(hertz, part):
    """At the cutoff of a low-pass half the power is left (its definition): 1 / sqrt(2) of the amplitude, not 1 / 2."""
    t = np.arange(0.0, 60.0, 1 / FS)
    burst = np.where((t > 25) & (t < 35), np.sin(2 * np.pi * hertz * t), 0.0)
    found = activity_of(burst + 1e-3 * np.random.default_rng(0).standard_normal(len(t)), FS)
    inside = getattr(found, part)[int(28 * found.fs) : int(32 * found.fs)]
    assert np.sqrt(2) * inside.std() == pytest.approx(1 / np.sqrt(2), abs=0.01)
