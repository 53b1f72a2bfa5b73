"""Minimal detectable changes of others beside those of a study."""

import math

import pandas as pd
import pytest
from strainstudy.tables.standing import CHANGE
from strainstudy.validate.measurements import GAIT_MEASURES, SIZE
from strainstudy.validate.published_change import PUBLISHED, beside_published


def rows(*measures):
    frame = pd.DataFrame([{"measure": name, "unit": GAIT_MEASURES[name]} for name in measures], columns=CHANGE.names)
    return frame.astype(CHANGE.empty().dtypes.to_dict())


def test_each_published_change_is_of_a_measure_and_unit_that_is_followed():
    followed = {(name.removesuffix(SIZE).removesuffix("_left"), unit) for name, unit in GAIT_MEASURES.items()}
    assert {(p.measure, p.unit) for p in PUBLISHED} <= followed


def test_published_changes_stand_beside_their_measures_and_nowhere_else():
    """Lewek & Randall 2011: 0.26 and 0.09 of the ratios of swing and stance time; Kesar et al. 2011: 3.2 to 4.2 %."""
    names = ("swing_time_log_ratio_size", "stance_time_log_ratio_size", "stance_fraction_mean_left", "cadence")
    found = beside_published(rows(*names)).set_index("measure")
    assert found.published_detectable_high["swing_time_log_ratio_size"] == pytest.approx(100 * math.log(1.26))
    assert found.published_detectable_high["stance_time_log_ratio_size"] == pytest.approx(100 * math.log(1.09))
    assert found.loc["stance_fraction_mean_left", "published_detectable_low":"published_detectable_high"].tolist() == [
        0.032,
        0.042,
    ]
    assert found.loc["cadence", "published_detectable_low":"published_detectable_source"].isna().all()


def test_several_sources_of_one_measure_give_their_span_and_all_their_names():
    found = beside_published(rows("swing_peak_mean_right")).iloc[0]
    assert (found.published_detectable_low, found.published_detectable_high) == (3.8, 11.5)
    assert "Kesar" in found.published_detectable_source
    assert "22041096" in found.published_detectable_source


def test_a_study_without_change_stays_without_rows():
    assert beside_published(CHANGE.empty()).equals(CHANGE.empty())
