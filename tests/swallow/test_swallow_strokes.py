import numpy as np
import pandas as pd
import pytest
from strainstudy.swallow.company import likeness_in_run
from strainstudy.swallow.strokes import outline_fit, quickness, stroke_measures

FS = 50.0


def test_a_tone_has_its_power_and_turning_points_where_it_should():
    t = np.arange(100) / FS
    for hertz in (2.0, 8.0):
        level = np.sin(2 * np.pi * hertz * t).astype(np.float32)
        found = stroke_measures(level, np.array([0]), np.array([99]), FS)
        assert found["stroke_hz"][0] == pytest.approx(hertz, abs=0.3)
        assert found["fast_share"][0] == pytest.approx(float(hertz > 6), abs=0.05)
        # Two turning points a period; the last may lie beyond the end.
        assert found["turning_points"][0] == pytest.approx(4 * hertz, abs=1)


def test_medians_of_real_swallows_lie_on_one_side_of_quickness_and_of_coughs_on_the_other():
    kinds = pd.DataFrame(
        {
            "fast_share": [0.13, 0.17, 0.22, 0.41],
            "stroke_hz": [4.0, 4.0, 4.2, 6.0],
            "turning_points": [5.5, 8.0, 6.0, 12.5],
        }
    )
    found = quickness(kinds)
    assert (found[:3] < -0.4).all()
    assert found[3] == pytest.approx(1.0)


def test_one_hump_fits_and_two_do_not():
    u = np.linspace(0, 1, 101)
    fit = outline_fit(
        np.concatenate([np.sin(np.pi * u) ** 2, np.sin(2 * np.pi * u) ** 2]), *np.array([[0, 101], [100, 201]])
    )
    assert fit[0] == pytest.approx(1.0, abs=1e-3)
    assert abs(fit[1]) < 0.1


def test_sips_on_a_sloping_base_are_alike_and_keep_time():
    u = np.linspace(0, 1, 24)
    hump = np.sin(np.pi * u)
    waves = np.array([hump + slope * u + lift for slope, lift in ((0.0, 0.0), (0.8, -0.5), (-0.6, 0.4))])
    frame = pd.DataFrame({"onset": [0.0, 1.2, 2.4], "pause_before_s": [5.0, 0.2, 0.2]})
    found = likeness_in_run(waves, frame)
    assert found["run_likeness"] == pytest.approx(np.ones(3))
    assert found["run_interval_cv"] == pytest.approx(np.zeros(3))
    pair = likeness_in_run(waves[:2], frame[:2])
    assert (pair["run_likeness"] == 0).all()
