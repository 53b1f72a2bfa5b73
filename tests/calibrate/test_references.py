"""Reference maps of sessions, and which map is taken where a session has holds as well."""

from dataclasses import replace

import numpy as np
import pytest
from strainstudy.calibrate.anglemap import AngleMap, Refusal
from strainstudy.calibrate.maps import MapKey, calibration_rows, maps_from_json, maps_to_json
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.calibrate.referencemap import ReferenceMap
from strainstudy.calibrate.references import ReferenceTrace, fit_references, joined
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.tables.angles import CALIBRATIONS

FS = 50.0
TIME = np.arange(3000) / FS
KNEE = 35 - 35 * np.cos(2 * np.pi * TIME / 4)
KEY = MapKey("sub-01", "ses-01", "left_knee", "S1")
P, HOW = CalibrateParameters(), ConditionParameters()
HOLDS = AngleMap(
    (0.0, 1.0), (0.0, 90.0), 1, 0.0, 0.1, 0.0, float("inf"), 1.0, 0.0, 0.01, 3.0, 1.0, 0.02, 0.014, 5.0, 0.9, 6, 1.0,
    0.0, 0.0, float("inf"), float("inf"), ("one branch",),
)  # fmt: skip


def trace(**more):
    noise = 0.003 * np.random.default_rng(0).standard_normal(len(KNEE))
    given = {"spans": [(0.0, 20.0)], "response": 0.01 * KNEE + noise} | more
    done = condition_trace(given["response"], FS, tracked_point="left_knee", units="a.u.", parameters=HOW)
    return ReferenceTrace(
        KEY, "r1", FS, done.response, done.drift, done.end, float("nan"), reference=KNEE, spans=given["spans"]
    )


@pytest.fixture(scope="module")
def fitted() -> ReferenceMap:
    found = fit_references([trace()], P, HOW.drift_shortest_period_s)[KEY]
    assert isinstance(found, ReferenceMap)
    return found


def test_only_the_named_spans_are_fitted(fitted):
    assert fitted.fitted == (("r1", 0.0, 20.0),)
    assert fitted.seconds == pytest.approx(20.0)
    two = fit_references([trace(spans=[(10.0, 15.0), (30.0, 40.0)])], P, HOW.drift_shortest_period_s)[KEY]
    assert [span[1:] for span in two.fitted] == [(10.0, 15.0), (30.0, 40.0)]


def test_a_falling_response_is_seen(fitted):
    falling = fit_references([trace(response=1 - 0.01 * KNEE)], P, HOW.drift_shortest_period_s)[KEY]
    assert (fitted.sign, falling.sign) == (1, -1)


def test_the_reference_is_taken_before_holds_and_holds_where_it_was_refused(fitted):
    refused = Refusal("too short")
    assert isinstance(joined({KEY: HOLDS}, {KEY: fitted})[KEY], ReferenceMap)
    kept = joined({KEY: HOLDS}, {KEY: refused})[KEY]
    assert kept == replace(HOLDS, notes=("one branch", "from holds, because by the reference: too short"))
    assert joined({KEY: Refusal("no hold")}, {KEY: refused}) == {KEY: refused}
    assert joined({KEY: HOLDS}, {}) == {KEY: HOLDS}


def test_rows_of_the_table_say_what_made_the_map(fitted):
    other = replace(KEY, session_id="ses-02")
    rows = calibration_rows({KEY: fitted, other: HOLDS, replace(KEY, session_id="ses-03"): Refusal("why")})
    assert set(rows.columns) == set(CALIBRATIONS.names)
    assert rows["source"].tolist() == ["reference", "holds", None]
    assert rows["reference_time"].iloc[0] == pytest.approx(20.0)
    assert rows["hold_count"].isna().tolist() == [True, False, True]


def test_maps_of_both_kinds_survive_json(fitted):
    maps = {KEY: fitted, replace(KEY, session_id="ses-02"): HOLDS, replace(KEY, session_id="ses-03"): Refusal("why")}
    again = maps_from_json(maps_to_json(maps))
    np.testing.assert_equal(
        {key: entry if isinstance(entry, Refusal) else entry.to_dict() for key, entry in again.items()},
        {key: entry if isinstance(entry, Refusal) else entry.to_dict() for key, entry in maps.items()},
    )
