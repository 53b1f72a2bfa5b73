"""Angle maps made by a reference beside the sensor, on sensors whose law is known because it was put in."""

import json
from dataclasses import replace

import numpy as np
import pytest
from strainstudy.calibrate.anglemap import Refusal
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.calibrate.referencefit import ReferencePiece, fit_reference_map
from strainstudy.calibrate.referencemap import ReferenceMap
from strainstudy_simulator.sensor import first_order_lag, hysteresis

FS = 50.0
N = 3000
P = CalibrateParameters()
ZERO = np.zeros(N)


def knee(seed=0):
    """Bends of changing depth and speed with rests between."""
    rng = np.random.default_rng(seed)
    angle = np.zeros(N)
    at = 50
    while at < N - 250:
        length = int(rng.integers(80, 200))
        angle[at : at + length] = rng.uniform(40, 90) * np.sin(np.pi * np.arange(length) / length) ** 2
        at += length + int(rng.integers(10, 60))
    return angle


def sensor(angle, *, percent=6.0, lag=0.04, sign=1):
    level = 0.01 * angle + 0.00008 * angle**2
    return sign * first_order_lag(hysteresis(level, percent, 1.5), FS, lag)


def piece(angle, response, *, first=0, last=N, name="r1", noise=0.003, drift=ZERO, **more):
    rng = np.random.default_rng(len(name))
    used = np.zeros(N, dtype=bool)
    used[first:last] = True
    return ReferencePiece(name, FS, response + noise * rng.standard_normal(N), drift, angle, used, **more)


def applied(found, one, **how):
    return found.apply(one.response, FS, drift=one.drift, recording_id=one.recording_id, **how)


@pytest.mark.parametrize("sign", [1, -1])
def test_what_was_not_fitted_is_told_within_two_degrees_and_its_interval_covers(sign):
    angle = knee()
    one = piece(angle, sensor(angle, sign=sign), last=N // 3)
    found = fit_reference_map([one], P)
    assert found.sign == sign
    told, rest = applied(found, one), slice(N // 3, N)
    error = (told.angle - angle)[rest]
    assert np.sqrt(np.mean(error**2)) < 2
    inside = (told.low <= angle) & (angle <= told.high)
    assert inside[rest].mean() > 0.85


def test_branches_and_rate_are_kept_because_they_predict_what_was_left_out():
    angle = knee()
    assert {"branches", "rate"} <= set(fit_reference_map([piece(angle, sensor(angle))], P).own[0].terms)
    plain = fit_reference_map([piece(angle, sensor(angle, percent=0.0, lag=0.0))], P)
    assert plain.rmse_left_out < 1


@pytest.mark.parametrize("lag", [0.0, 0.04, 0.1])
def test_the_lag_behind_the_reference_is_told_apart_from_hysteresis(lag):
    angle = knee()
    found = fit_reference_map([piece(angle, sensor(angle, lag=lag))], P)
    assert found.lag_error_s < 0.012
    assert found.lag_s == pytest.approx(lag, abs=2.5 * found.lag_error_s)


def test_held_angles_rise_with_the_response_on_both_branches():
    angle = knee()
    found = fit_reference_map([piece(angle, sensor(angle))], P)
    for order in (1, -1):
        stairs = np.repeat(np.linspace(found.joint.low, found.joint.high, 30)[::order], 250)
        told = found.apply(stairs, FS, drift=np.zeros(len(stairs)), recording_id="elsewhere").angle[200::250]
        assert (order * np.diff(told) > -1e-6).all()


def test_beyond_the_fitted_range_the_interval_widens_and_the_samples_are_marked():
    angle = knee()
    shallow = np.minimum(angle, 45.0)
    found = fit_reference_map([piece(shallow, sensor(shallow))], P)
    deep = piece(angle, sensor(angle), name="deep")
    told = applied(found, deep)
    beyond, inside = angle > 55, angle < 40
    assert told.extrapolated[beyond].mean() > 0.9
    assert told.extrapolated[inside].mean() < 0.05
    width = told.high - told.low
    assert np.median(width[angle > 80]) > 1.5 * np.median(width[inside])


def test_the_interval_is_wider_in_another_recording_and_far_from_what_was_fitted():
    angle = knee()
    one = piece(angle, sensor(angle), last=N // 3)
    found = fit_reference_map([one], P)
    own = applied(found, one)
    other = applied(found, replace(one, recording_id="other"))
    still = np.flatnonzero(angle == 0)
    near, far = still[still < N // 3], still[still > 0.9 * N]
    width = own.high - own.low
    assert np.median(width[far]) > np.median(width[near])
    assert np.median((other.high - other.low)[near]) > np.median(width[near])


def test_where_recordings_agree_they_are_told_by_one_another_and_where_not_each_has_its_own_map():
    angles = [knee(seed) for seed in range(3)]
    names = ["r", "rr", "rrr"]
    pieces = [piece(angle, sensor(angle), name=name) for name, angle in zip(names, angles, strict=True)]
    found = fit_reference_map(pieces, P)
    assert [name for name, *_ in found.fitted] == names
    assert found.seconds == pytest.approx(3 * N / FS)
    assert found.joint.rmse_left_out < 2
    # The sleeve was moved: the same bend reads a third less.
    moved = [*pieces[:2], replace(pieces[2], response=pieces[2].response / 1.5)]
    apart = fit_reference_map(moved, P)
    assert apart.joint.rmse_left_out > 3
    assert apart.model_for("rrr").recording_id == "rrr"
    told = applied(apart, moved[2])
    assert np.sqrt(np.mean((told.angle - angles[2]) ** 2)) < 2


def test_a_span_too_short_for_a_map_of_its_own_is_told_by_the_other_recordings():
    angles = [knee(seed) for seed in range(2)]
    whole, short = piece(angles[0], sensor(angles[0])), piece(angles[1], sensor(angles[1]), name="short", last=100)
    found = fit_reference_map([whole, short], P)
    assert found.model_for("short").recording_id is None
    told = applied(found, short)
    assert np.sqrt(np.mean((told.angle - angles[1])[100:] ** 2)) < 3


def test_the_same_resistance_relative_to_another_rest_is_the_same_angle():
    angle = knee()
    one = piece(angle, sensor(angle), rest_ohm=1000.0)
    found = fit_reference_map([one], P)
    told = found.apply(one.response, FS, drift=one.drift, rest_ohm=1000.0, recording_id="other")
    half = found.apply(one.response / 2, FS, drift=one.drift, rest_ohm=2000.0, recording_id="other")
    np.testing.assert_allclose(half.angle, told.angle, atol=1e-9)


def test_gaps_stay_gaps():
    angle = knee()
    one = piece(angle, sensor(angle))
    found = fit_reference_map([one], P)
    response = one.response.copy()
    response[500:600] = np.nan
    told = applied(found, replace(one, response=response))
    assert np.isnan(told.angle[500:600]).all()
    assert np.isfinite(told.angle[700:]).all()


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"used": np.arange(N) < 100}, "2.0 s with both"),
        ({"reference": np.full(N, 5.0)}, "moves by 0.0 degrees only"),
        ({"response": ZERO}, "does not answer"),
    ],
)
def test_what_cannot_make_a_map_is_refused_with_its_reason(change, reason):
    angle = knee()
    found = fit_reference_map([replace(piece(angle, sensor(angle)), **change)], P)
    assert isinstance(found, Refusal)
    assert reason in found.reason


def test_a_map_survives_json():
    angle = knee()
    found = fit_reference_map([piece(angle, sensor(angle), last=1500)], P)
    again = ReferenceMap.from_dict(json.loads(json.dumps(found.to_dict(), allow_nan=False)))
    assert replace(again, rest_ohm=0.0) == replace(found, rest_ohm=0.0)
    assert np.isnan(again.rest_ohm)
