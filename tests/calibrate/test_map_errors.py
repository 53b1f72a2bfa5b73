"""What the angle map says of its own errors, against integrals and the formulas of their parts."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.integrate import quad
from strainstudy.calibrate.anglefit import fit_angle_map
from strainstudy.calibrate.anglemap import AngleMap, Refusal, _resting_angle, curve_through
from strainstudy.calibrate.holds import HOLD_COLUMNS
from strainstudy.calibrate.parameters import CalibrateParameters

P = CalibrateParameters(response_time_s=0.0)


@pytest.mark.parametrize(("apparent", "posture", "drift"), [(2.0, 3.0, 1.0), (12.0, 3.0, 4.0), (-30.0, 2.0, 5.0)])
def test_the_resting_angle_is_the_mean_of_its_distribution_given_the_reading(apparent, posture, drift):
    """Bayes by numerical integration: a normal prior about 0, a reading that drifted or, one time in ten, slipped."""

    def weight(angle):
        reading = 0.9 * stats.norm.pdf(apparent, angle, drift)
        reading += 0.1 * stats.norm.pdf(apparent, angle, math.hypot(drift, 20.0))
        return stats.norm.pdf(angle, 0.0, posture) * reading

    span = (-15 * posture, 15 * posture)
    total = quad(weight, *span, limit=400)[0]
    mean = quad(lambda a: a * weight(a), *span, limit=400)[0] / total
    spread = math.sqrt(quad(lambda a: (a - mean) ** 2 * weight(a), *span, limit=400)[0] / total)
    assert _resting_angle(apparent, posture, drift) == pytest.approx((mean, spread), rel=1e-6)


def test_a_zero_that_is_not_known_or_cannot_be_explained_is_that_of_the_straight_leg():
    assert _resting_angle(25.0, 3.0, math.inf) == (0.0, 3.0)
    assert _resting_angle(1e5, 3.0, 1.0) == (0.0, 3.0)


def a_map(**changes):
    values = {
        "levels": (0.0, 0.5, 1.0), "angles": (0.0, 50.0, 100.0), "sign": 1, "loop_width": 0.0, "branch_radius": 0.1,
        "zero_level": 0.0, "rest_ohm": math.nan, "error_deg": 2.0, "error_share": 0.03,
        "loop_error_deg": 0.0,
        "zero_error_deg": 1.5, "zero_drift_deg": math.inf, "lag_s": 0.0, "lag_error_s": 0.0, "freedom": 6.0,
        "prediction_level": 0.9,
        "hold_count": 9, "repeatability_deg": 1.0, "hysteresis_percent": 0.0, "creep_percent": 0.0,
        "session_drift_deg": 0.0, "session_gain_percent": 0.0, "notes": (),
    }  # fmt: skip
    return AngleMap(**(values | changes))


def apply(done, response, fs=100.0, **more):
    response = np.asarray(response, dtype=float)
    return done.apply(response, fs, drift=np.zeros(response.size), **more)


def test_the_interval_adds_its_errors_in_squares_and_widens_for_few_holds():
    """Constant 2 and 1.5 degrees, 3 % of the angle, 0.3 of what lies beyond the holds; Satterthwaite's freedom."""
    found = apply(a_map(), [0.4, 0.4, 0.4])
    constant = 2.0**2 + 1.5**2
    freedom = 6.0 * (constant / 2.0**2) ** 2
    half = stats.t.ppf(0.95, freedom) * math.sqrt(constant + (0.03 * 40) ** 2)
    assert found.angle == pytest.approx([40.0] * 3)
    assert found.high - found.angle == pytest.approx([half] * 3)
    assert found.angle - found.low == pytest.approx([half] * 3)
    beyond = apply(a_map(), [1.2, 1.2, 1.2])
    half = stats.t.ppf(0.95, freedom) * math.sqrt(constant + (0.03 * 120) ** 2 + (0.3 * 20) ** 2)
    assert beyond.high - beyond.angle == pytest.approx([half] * 3)
    below = apply(a_map(), [-0.1, -0.1, -0.1])
    half = stats.t.ppf(0.95, freedom) * math.sqrt(constant + (0.03 * 10) ** 2 + (0.3 * 10) ** 2)
    assert below.high - below.angle == pytest.approx([half] * 3)
    known = apply(a_map(freedom=math.inf), [0.4, 0.4])
    assert known.high[0] - known.angle[0] == pytest.approx(stats.norm.ppf(0.95) * math.sqrt(constant + 1.2**2))


def test_levels_a_twentieth_beyond_the_holds_still_count_as_calibrated():
    found = apply(a_map(), [-0.06, -0.04, 0.5, 1.04, 1.06])
    assert found.extrapolated.tolist() == [True, False, False, False, True]


def test_a_lag_advances_the_angle_by_its_rate_of_change_and_is_not_wholly_known():
    """A ramp of 100 degrees a second, 0.05 s late: 5 degrees, give or take 70 % of that."""
    ramp = np.arange(100) / 100.0
    found = apply(a_map(lag_s=0.05, lag_error_s=0.035, error_share=0.0), ramp)
    assert found.angle[50] == pytest.approx(55.0)
    constant = 2.0**2 + 1.5**2
    freedom = 6.0 * (constant / 2.0**2) ** 2
    half = stats.t.ppf(0.95, freedom) * math.sqrt(constant + (0.7 * 5.0) ** 2)
    assert found.high[50] - found.angle[50] == pytest.approx(half)


def test_another_rest_resistance_scales_the_response():
    found = apply(a_map(rest_ohm=1000.0), [0.4, 0.4], rest_ohm=1100.0)
    assert found.angle == pytest.approx([44.0, 44.0])
    assert apply(a_map(), [0.4, 0.4], rest_ohm=1100.0).angle == pytest.approx([40.0, 40.0])


def test_a_steady_sensor_that_reads_more_at_rest_says_that_the_knee_is_bent():
    """Rest lies at 0.1 of the response, 10 degrees; the sensor hardly drifts and the posture is free."""
    done = a_map(zero_error_deg=10.0, zero_drift_deg=0.5)
    response = np.full(50, 0.2)
    found = done.apply(response, 100.0, drift=np.full(50, 0.1))
    zero, error = done.zero(np.full(50, 0.1))
    mean, alone = _resting_angle(10.0, 10.0, 0.5)
    # A drift of 0.5 seen in few readings counts as one of 2 degrees, by the weight that the reading has.
    assert (zero, error) == pytest.approx((mean, math.hypot(alone, 100 / 100.25 * math.sqrt(2.0**2 - 0.5**2))))
    assert 9.0 < zero < 10.0
    assert found.angle == pytest.approx(20.0 + zero, abs=1e-6)
    # (1 + 0.1) x 1100 / 1000 - 1: the same reading over another rest resistance
    ohms = a_map(zero_error_deg=10.0, zero_drift_deg=0.5, rest_ohm=1000.0)
    assert ohms.zero(np.full(5, 0.1), 1100.0)[0] == pytest.approx(_resting_angle(21.0, 10.0, 0.5)[0])
    assert a_map().zero(np.full(5, np.nan)) == (0.0, 1.5)


def test_the_level_of_an_angle_is_the_inverse_of_the_angle_of_a_level():
    done = a_map(levels=(0.0, 0.3, 1.0), angles=(0.0, 60.0, 100.0))
    for angle in (-20.0, 0.0, 33.0, 100.0, 130.0):
        assert float(done.angle_of(done.level_of(angle))) == pytest.approx(angle)
    assert done.response_per_degree == pytest.approx(0.01)
    assert done.range_deg == (0.0, 100.0)


def test_the_curve_goes_straight_on_with_its_end_slopes():
    two = curve_through(np.array([1.0, 3.0]), np.array([10.0, 50.0]))
    assert two([0.0, 2.0, 4.0]) == pytest.approx([-10.0, 30.0, 70.0])
    # end slopes of Fritsch and Carlson's cubic, by three points: (3 x 10 - 15) / 2 and (3 x 15 - 10) / 2
    bent = curve_through(np.array([0.0, 1.0, 2.0]), np.array([0.0, 10.0, 25.0]))
    assert bent([-2.0, 0.0, 1.0, 2.0, 4.0]) == pytest.approx([-15.0, 0.0, 10.0, 25.0, 60.0])
    # where that slope is nothing, (3 x 10 - 30) / 2, the chord of the end stands in
    strong = curve_through(np.array([0.0, 1.0, 2.0]), np.array([0.0, 10.0, 40.0]))
    assert strong([-2.0, 4.0]) == pytest.approx([-20.0, 120.0])


def holds(rows):
    frame = pd.DataFrame(rows, columns=["angle", "level", "branch", "creep", "recording"])
    frame = frame.astype({"angle": float, "level": float, "branch": float, "creep": float})
    frame = frame.assign(onset=8.0 * np.arange(len(frame)), duration=5.0, absolute=frame["level"] + 0.2, labelled=True)
    return frame.assign(direction=np.where(frame["branch"] > 0, "flexing", "extending"))[[*HOLD_COLUMNS, "recording"]]


def fitted(rows, parameters=P):
    found = fit_angle_map(holds(rows), parameters)
    assert not isinstance(found, Refusal), found
    return found


def scattered(seed=1, recordings=(0,)):
    rng = np.random.default_rng(seed)
    return [
        (angle, 0.01 * angle + 0.01 * rng.standard_normal(), 1 if angle else -1, 0.02 * angle / 100, number)
        for number in recordings
        for angle in (0, 50, 100)
        for _ in range(4)
    ]


def test_the_scatter_of_holds_is_that_about_the_map_with_its_degrees_of_freedom():
    rows = scattered()
    done = fitted(rows)
    frame = holds(rows)
    residual = done.angle_of(frame["level"]) - frame["angle"]
    expected = math.sqrt(float(residual @ residual) / (12 - 3))
    assert done.repeatability_deg == pytest.approx(expected)
    # The hold error of the settings counts as another four degrees of freedom (pooled variance).
    assert (done.freedom, done.hold_count) == (9.0 + 4.0, 12)
    scatter = math.sqrt((9 * expected**2 + 4 * P.hold_error_deg**2) / 13)
    creep = float(np.median([c / level for angle, level, _, c, _ in rows if angle]))
    assert done.creep_percent == pytest.approx(100 * creep)
    # an error of a known largest size is uniform: its spread is the size over root twelve
    assert done.error_share == pytest.approx(creep / math.sqrt(12))
    own = math.sqrt(max(0.0, scatter**2 - P.hold_error_deg**2))
    unseen = P.assumed_hysteresis_percent / 100 * 100
    median = scatter * math.sqrt(math.pi / 2) / math.sqrt(4)
    assert done.error_deg == pytest.approx(math.hypot(median, own))
    assert done.loop_error_deg == pytest.approx(unseen / math.sqrt(12))


def test_the_zero_drifts_as_the_straight_leg_did_more_where_one_recording_shows_it():
    for recordings, factor in (((0,), P.session_drift_factor), ((0, 1), 1.0)):
        rows = scattered(recordings=recordings)
        done = fitted(rows)
        straight = [level + 0.2 for angle, level, *_ in rows if angle == 0]
        per_level = 100 / (done.levels[-1] - done.levels[0])
        assert done.zero_drift_deg == pytest.approx(np.std(straight, ddof=1) * per_level * factor)
        assert done.zero_level == pytest.approx(np.median(straight))


def test_change_over_a_session_is_that_of_zero_and_slope_between_its_recordings():
    """The second recording reads 0.05 more at 0 and answers with 0.9 of the first."""
    rows = [(a, 0.01 * a, 1 if a else -1, 0.0, 0) for a in (0, 50, 100) for _ in range(3)]
    rows += [(a, 0.05 + 0.009 * a, 1 if a else -1, 0.0, 1) for a in (0, 50, 100) for _ in range(3)]
    done = fitted(rows)
    per_level = 100 / (done.levels[-1] - done.levels[0])
    assert done.session_drift_deg == pytest.approx(0.05 * per_level)
    assert done.session_gain_percent == pytest.approx(-10.0)
    assert math.isnan(fitted(scattered()).session_drift_deg)


def test_a_loop_is_its_regression_on_the_branch_and_kept_where_it_differs_from_nothing():
    """Statsmodels: level on angle (as classes) and branch; twice the slope is the width."""
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(4)
    rows = [
        (angle, 0.01 * angle - 0.04 * (branch + 1) + 0.004 * rng.standard_normal(), branch, 0.0, 0)
        for angle, branch in ((0, -1), (45, 1), (90, 1), (45, -1)) * 4
    ]
    done = fitted(rows)
    fit = smf.ols("level ~ C(angle) + branch", holds(rows)).fit()
    assert done.loop_width == pytest.approx(-2 * fit.params["branch"])
    span = done.levels[-1] - done.levels[0]
    loop = math.hypot(0.25 * done.loop_width, 2 * fit.bse["branch"]) * 90 / span
    assert done.loop_error_deg == pytest.approx(loop / math.sqrt(12))


def test_a_loop_that_is_not_told_from_none_is_allowed_for_as_wide_as_the_test_leaves_it():
    """Statsmodels: the upper 95 % limit of the width from the same regression."""
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(8)
    rows = [
        (angle, 0.01 * angle - 0.005 * (branch + 1) + 0.02 * rng.standard_normal(), branch, 0.0, 0)
        for angle, branch in ((0, -1), (45, 1), (90, 1), (45, -1)) * 2
    ]
    done = fitted(rows)
    fit = smf.ols("level ~ C(angle) + branch", holds(rows)).fit()
    assert fit.pvalues["branch"] > 0.05
    assert done.loop_width == 0.0
    widest = -2 * fit.conf_int(0.05).loc["branch", 0]
    span = done.levels[-1] - done.levels[0]
    assert done.loop_error_deg == pytest.approx(widest * 90 / span / math.sqrt(12))


def test_the_error_of_the_loop_opens_from_the_straight_leg_over_the_radius_of_the_branches():
    done = a_map(loop_error_deg=3.0, error_share=0.0)
    closed, half, full = (apply(done, [x, x, x]) for x in (0.0, 0.05, 0.4))
    constant = 2.0**2 + 1.5**2
    freedom = 6.0 * (constant / 2.0**2) ** 2
    for found, share in ((closed, 0.0), (half, 0.5), (full, 1.0)):
        size = stats.t.ppf(0.95, freedom) * math.sqrt(constant + (3.0 * share) ** 2)
        assert found.high - found.angle == pytest.approx([size] * 3)


def test_a_lag_widens_the_interval_by_the_speed_of_the_angle_where_the_curve_is_steep():
    """Half as steep in the upper half: the same response per second is twice the degrees per second."""
    done = a_map(levels=(0.0, 0.5, 0.75), angles=(0.0, 50.0, 100.0), lag_error_s=0.02, error_share=0.0)
    ramp = np.arange(75) / 100.0
    found = apply(done, ramp)
    constant = 2.0**2 + 1.5**2
    freedom = 6.0 * (constant / 2.0**2) ** 2
    for at in (10, 70):
        speed = np.gradient(done.angle_of(ramp))[at] * 100.0
        half = stats.t.ppf(0.95, freedom) * math.sqrt(constant + (0.02 * speed) ** 2)
        assert found.high[at] - found.angle[at] == pytest.approx(half)
    assert found.high[70] - found.angle[70] > found.high[10] - found.angle[10]


@pytest.mark.parametrize(("wrong", "refused"), [(1, False), (3, True)])
def test_holds_that_contradict_one_another_in_more_than_a_quarter_of_the_pairs_are_refused(wrong, refused):
    """Of five holds at each angle so many deeper ones read less than all shallower ones."""
    rows = [(0, 0.0, -1, 0.0, 0)] * 5 + [(45, 0.45, 1, 0.0, 0)] * 5
    rows += [(90, 0.40 if k < wrong else 0.9, 1, 0.0, 0) for k in range(5)]
    assert isinstance(fit_angle_map(holds(rows), P), Refusal) == refused
