"""The error of the method: what labels tell of it, and what it does to the limits of a walk."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import scipy.linalg
import scipy.stats
from gait_data import real_walks
from strainstudy.gait.landmark_errors import (
    FORCE_PLATES,
    AngleError,
    PeopleErrors,
    errors_by_state,
    errors_for,
    landmark_cells,
    pooled_errors,
    with_measurement_error,
    with_persistence,
)
from strainstudy.gait.measures import summarise_walk
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.walk import detect_walk
from strainstudy.tables.gait import MEASURED

P = GaitParameters(bootstrap_resamples=200)
EXACT = replace(
    FORCE_PLATES, contact_s=0.0, difference_s=0.0, stance_s=0.0, stance_difference_s=0.0, scatter_s=0.0, spread_s=0.0
)


def walked(n=40, stride=1.1, late_s=0.0):
    """Strides of an even walk whose right contacts are found ``late_s`` late, and its true events."""
    rows, events = [], []
    for side, start in (("left", 1.0), ("right", 1.0 + stride / 2)):
        onset = start + stride * np.arange(n)
        for kind, times in (
            ("initial_contact", np.append(onset, onset[-1] + stride)),
            ("toe_off", onset + 0.6 * stride),
        ):
            events.append(pd.DataFrame({"onset": times, "duration": 0.0, "trial_type": kind, "side": side}))
        late = late_s if side == "right" else 0.0
        step = stride / 2 + (late if side == "right" else -late_s)
        rows.append(
            pd.DataFrame({
                "side": side, "onset": onset + late, "stride_time": stride, "step_time": step, "steady": True,
                "walk": 0,
                "toe_off": onset + 0.6 * stride, "stance_time": 0.6 * stride - late, "swing_time": 0.4 * stride + late,
                "stance_fraction": 0.6 - late / stride, "phase": 180.0, "swing_peak_time": onset + 0.72 * stride,
                "swing_peak": np.nan, "range_of_motion": np.nan, "amplitude": 1.0, "response_range": 1.0,
                "trial_type": "normal_gait",
            })
        )  # fmt: skip
    return pd.concat(rows, ignore_index=True), pd.concat(events, ignore_index=True)


def without_spread(strides):
    """Row whose limits are its values, as if the strides were all there is."""
    row = summarise_walk(strides, P)
    for name in [key.removesuffix("_low") for key in row if key.endswith("_low")]:
        row |= {f"{name}_low": row[name], f"{name}_high": row[name]}
    return row


def test_a_side_that_lands_late_in_the_curve_is_told_by_labels():
    strides, events = walked(late_s=0.03)
    cells = landmark_cells((strides, events, f"sub-{k}") for k in range(6))
    found = pooled_errors(cells, "{0} people, {1} walks")
    assert found.difference_s == pytest.approx(0.03, abs=1e-9)
    assert found.contact_s == pytest.approx(0.03 / math.sqrt(2), abs=1e-9)
    assert found.stance_s == pytest.approx(0.03 / math.sqrt(2), abs=1e-9)
    assert (found.freedom, found.source) == (6, "6 people, 6 walks")


def test_labels_that_scatter_are_not_taken_for_an_error_of_the_landmark():
    """The mean of n scattered labels scatters by SD / sqrt(n), which is taken off: what is left is near zero."""
    rng, parts = np.random.default_rng(1), []
    for k in range(40):
        strides, events = walked()
        noisy = events.assign(onset=events["onset"] + rng.normal(0, 0.03, len(events)))
        parts.append((strides, noisy, f"sub-{k}"))
    found = pooled_errors(landmark_cells(parts), "")
    assert found.difference_s < 0.5 * 0.03 * math.sqrt(2 / 40)


def test_a_person_is_judged_by_the_labels_of_five_others_or_more_and_else_by_force_plates():
    strides, events = walked(late_s=0.01)
    cells = landmark_cells((strides, events, f"sub-{k}") for k in range(6))
    found = errors_for("sub-0", "normal_gait", errors_by_state(cells))
    assert found.source == f"labels of this study: 5 walks of 5 other people, pooled with {FORCE_PLATES.source}"
    assert (
        errors_for("sub-0", "normal_gait", errors_by_state(cells[cells["participant_id"] != "sub-5"])) is FORCE_PLATES
    )
    assert errors_for("sub-0", "limping_gait", errors_by_state(cells)) is FORCE_PLATES


def test_five_people_whose_landmarks_happen_to_agree_do_not_promise_as_much_to_a_sixth():
    """Mean squares by degrees of freedom: five people with 10 ms, eight (force plates) with 25.6 ms."""
    strides, events = walked(late_s=0.01)
    cells = landmark_cells((strides, events, f"sub-{k}") for k in range(6))
    found = errors_for("sub-0", "normal_gait", errors_by_state(cells))
    pooled = math.sqrt((5 * 0.01**2 + 8 * FORCE_PLATES.difference_s**2) / 13)
    assert (found.difference_s, found.freedom) == (pytest.approx(pooled), 13)
    many = pd.concat([cells.assign(participant_id=cells["participant_id"] + f"-{k}") for k in range(40)])
    assert errors_for("sub-0", "normal_gait", errors_by_state(many)).difference_s == pytest.approx(0.01, rel=0.15)


def test_people_whose_landmarks_err_more_than_force_plates_keep_their_own_error():
    strides, events = walked(late_s=0.06)
    cells = landmark_cells((strides, events, f"sub-{k}") for k in range(6))
    found = errors_for("sub-0", "normal_gait", errors_by_state(cells))
    assert (found.difference_s, found.freedom) == (pytest.approx(0.06), 5)
    assert found.source == "labels of this study: 5 walks of 5 other people"


def test_without_labelled_toe_offs_the_error_of_stance_is_that_of_force_plates():
    strides, events = walked(late_s=0.01)
    contacts = events[events["trial_type"] == "initial_contact"]
    cells = landmark_cells((strides, contacts, f"sub-{k}") for k in range(6))
    assert errors_for("sub-0", "normal_gait", errors_by_state(cells)).stance_s == FORCE_PLATES.stance_s


def test_a_late_side_moves_the_symmetry_index_by_four_times_its_share_of_the_stride():
    """A shift d lengthens one step and shortens the other: 200 * 2 d / T; the t quantile is scipy's."""
    strides, _ = walked()
    row = without_spread(strides)
    done = with_measurement_error(row, strides, replace(EXACT, difference_s=0.015), angles={})
    t = scipy.stats.t.ppf(0.975, FORCE_PLATES.freedom)
    assert done["step_time_symmetry_index_error"] == pytest.approx(t * 400 * 0.015 / 1.1, rel=1e-3)
    assert done["step_time_symmetry_index_low"] == pytest.approx(-done["step_time_symmetry_index_error"], abs=1e-6)
    assert done["phase_mean_error"] == pytest.approx(t * 360 * 0.015 / 1.1, rel=1e-3)
    assert done["step_time_mean_left_error"] == pytest.approx(t * 0.015, rel=1e-3)
    assert done["cadence_error"] == 0.0


def test_stride_time_knows_only_the_ends_of_its_runs():
    """Forty strides in a row: the contacts between cancel, and the mean errs by sqrt(2) times a contact's SD / 40."""
    strides, _ = walked()
    left = strides[strides["side"] == "left"]
    done = with_measurement_error(without_spread(left), left, replace(EXACT, scatter_s=0.02), angles={})
    t = scipy.stats.t.ppf(0.975, FORCE_PLATES.freedom)
    assert done["stride_time_mean_left_error"] == pytest.approx(t * math.sqrt(2) * 0.02 / 40, rel=1e-6)
    assert done["cadence_error"] == pytest.approx(120 / 1.1**2 * done["stride_time_mean_error"], rel=1e-6)


def test_a_method_without_error_leaves_the_limits_as_they_are():
    strides, _ = walked()
    row = without_spread(strides)
    done = with_measurement_error(row, strides, EXACT, angles={})
    assert all(done[key] == pytest.approx(row[key], nan_ok=True) for key in row if isinstance(row[key], float))
    assert all(done[f"{name}_error"] == 0.0 for name in MEASURED if np.isfinite(done[f"{name}_error"]))


def test_an_angle_whose_gain_is_known_to_five_percent_has_a_range_known_to_ten():
    strides, _ = walked()
    row = without_spread(strides.assign(range_of_motion=60.0, swing_peak=62.0))
    gain = AngleError(0.05, 0.0, 0.0)
    done = with_measurement_error(row, strides, EXACT, angles={"left": gain, "right": gain})
    assert done["range_of_motion_mean_left_error"] == pytest.approx(1.96 * 3.0)
    # two independent errors of 5 % make one of 7.07 points of the symmetry index
    assert done["range_of_motion_symmetry_index_error"] == pytest.approx(1.96 * 100 * 0.05 * math.sqrt(2), rel=0.01)
    level = AngleError(0.0, 1.5, 3.0)
    moved = with_measurement_error(row, strides, EXACT, angles={"left": level, "right": level})
    assert moved["swing_peak_mean_left_error"] == pytest.approx(1.96 * math.hypot(1.5, 3.0))
    # a range has the error of an angle at both of its ends
    assert moved["range_of_motion_mean_left_error"] == pytest.approx(1.96 * math.hypot(1.5 * math.sqrt(2), 3.0))


def test_the_errors_in_the_code_are_those_of_the_force_plates():
    parts = []
    for walk in real_walks():
        state = "normal_gait" if "normal" in walk.name else "limping_gait"
        strides = detect_walk(walk.knees, walk.fs, P).strides.assign(trial_type=state)
        parts.append((strides, walk.labels, walk.name[:2]))
    found = pooled_errors(landmark_cells(parts), "", ("participant_id", "trial_type"))
    for name in ("contact_s", "difference_s", "stance_s", "stance_difference_s"):
        assert getattr(FORCE_PLATES, name) == pytest.approx(getattr(found, name), abs=0.0006), name
    assert found.freedom == FORCE_PLATES.freedom


def test_limits_know_that_strides_persist():
    """The mean of n values of fractional noise (made here by its exact covariance, Beran 1994, ch. 2) has the standard
    deviation SD n^(H - 1): nine of ten or more 95 % limits hold 1.1 s, where those of independent strides hold six.
    """
    n, hurst, rng = 40, 0.7, np.random.default_rng(3)
    lag = np.arange(n)
    covariance = 0.5 * ((lag + 1.0) ** (2 * hurst) - 2.0 * lag ** (2 * hurst) + np.abs(lag - 1.0) ** (2 * hurst))
    root = np.linalg.cholesky(scipy.linalg.toeplitz(covariance))
    even, _ = walked(n)
    held = {0.5: 0, 0.7: 0}
    for k in range(60):
        times = 1.1 + 0.025 * root @ rng.standard_normal(n)
        row = summarise_walk(even.assign(stride_time=np.tile(times, 2)), P, key=str(k))
        for persistence in held:
            moved = with_persistence(row, persistence)
            held[persistence] += moved["stride_time_mean_low"] <= 1.1 <= moved["stride_time_mean_high"]
    assert held[0.7] >= 53
    assert held[0.5] <= 46
    assert with_persistence(row, 0.5)["cadence_low"] == pytest.approx(row["cadence_low"])


def test_limits_that_are_moved_out_stay_what_the_measure_can_be():
    row = {"n_strides_left": 40, "n_strides_right": 40}
    for name, value, low, high in (
        ("waveform_likeness", 0.99, 0.97, 0.998),
        ("stride_regularity_left", -0.99, -0.998, -0.97),
        ("phase_deviation", 2.0, 0.5, 4.0),
        ("cadence", 110.0, 108.0, 112.0),
    ):
        row |= {name: value, f"{name}_low": low, f"{name}_high": high}
    moved = with_persistence(row, 0.9)
    assert (moved["waveform_likeness_high"], moved["stride_regularity_left_low"]) == (1.0, -1.0)
    assert moved["phase_deviation_low"] == 0.0
    assert moved["waveform_likeness_low"] < 0.97
    assert moved["cadence_high"] == pytest.approx(110.0 + 2.0 * 40**0.4)


def test_pooling_without_a_person_is_pooling_the_cells_of_the_others():
    parts = []
    for k in range(8):
        strides, events = walked(late_s=0.004 * k)
        parts += [(strides, events, f"sub-{k}")] * (1 + k % 3)
    cells = landmark_cells(parts)
    for left_out in ("sub-0", "sub-7"):
        others = pooled_errors(cells[cells["participant_id"] != left_out], "{0} {1}")
        assert PeopleErrors.of(cells).pooled("{0} {1}", without=left_out) == others != pooled_errors(cells, "{0} {1}")
