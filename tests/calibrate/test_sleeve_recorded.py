"""A reference beside a knitted sleeve on real knees (e-Body Lab 2023): first third fitted, the rest tested."""

import os
from pathlib import Path

import numpy as np
import pytest
from experiments.sleeve_study import CHOSEN_ON, figures_of, first_third, mapped, read_pieces


def test_on_pairs_that_chose_nothing_of_the_form_the_map_is_within_5_degrees_and_its_interval_covers():
    """All recordings, plainer maps beside it and what was chosen on which: docs/sleeve-study.md."""
    place = os.environ.get("STRAINSTUDY_REAL_BENDS")
    if not place:
        pytest.skip("STRAINSTUDY_REAL_BENDS does not name the folder of recorded bends")
    pieces = [p for p in read_pieces(Path(place), "pair-07") if not p.recording_id.startswith(CHOSEN_ON)]
    found = figures_of([(first_third(piece), piece) for piece in pieces], mapped)
    assert len(pieces) >= 3
    assert np.median(found.rmse) < 5
    assert 0.82 < found.coverage.mean() < 0.96
