"""Walks of simulated people: every stride, whatever the sensor's unit, gain, direction, rate and drift."""

from dataclasses import replace

import numpy as np
import pytest
from gait_data import SIDES, Recorded, onsets, plain_walk, scored, simulated, time_in
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.phase import EVEN_DEG
from strainstudy.gait.walk import Walk, detect_walk
from strainstudy.signal.play import branch
from strainstudy.stats.matching import match_instants
from strainstudy_simulator.gaits import Gait, Leg, limp, turning
from strainstudy_simulator.knee import Segment

P = GaitParameters()
FEW = settings(max_examples=6, deadline=None)


def amplitude(x: np.ndarray) -> float:
    return float(np.ptp(np.quantile(x, [0.02, 0.98])))


def moved(before: Walk, after: Walk, *, delay: float = 0.0) -> tuple[float, float]:
    """Part of the events of either walk that have a partner in the other, and the 95th percentile of the moves."""
    moves, partners, events = [], 0, 0
    for side in SIDES:
        for kind in ("initial_contact", "toe_off"):
            one, two = onsets(before.events, kind, side), onsets(after.events, kind, side) - delay
            match = match_instants(one, two, 0.1)
            moves.append(np.abs(one[match.reference] - two[match.estimate]))
            partners += 2 * len(match)
            events += one.size + two.size
    return partners / events, float(np.quantile(np.concatenate(moves), 0.95))


@pytest.fixture(scope="module")
def limping() -> tuple[Recorded, Walk]:
    """A walk with one stiff knee, and what is found in it."""
    recorded = plain_walk(limp(Gait(), "left", "both", 0.5), 60.0)
    return recorded, detect_walk(recorded.knees, recorded.fs, P)


@pytest.mark.parametrize("mechanism", [None, "stiff", "timing", "both", "guarded"])
@pytest.mark.parametrize("stride_time", [0.83, 1.1, 1.6])
def test_every_contact_of_normal_and_limping_walks_is_found(mechanism, stride_time):
    """Ours: 0.6 to 1.2 strides a second; a stiff knee keeps 45 % of its swing wave."""
    gait = Gait(stride_time_s=stride_time)
    recorded = plain_walk(gait if mechanism is None else limp(gait, "right", mechanism, 0.75))
    walk = detect_walk(recorded.knees, recorded.fs, P)
    for side in SIDES:
        score, errors = scored(recorded, walk.events, side)
        assert score.f1 >= 0.97
        assert abs(np.median(errors)) < 0.04


@pytest.mark.parametrize("stride_time", [2.0, 2.5])
def test_very_slow_walks_lose_no_stride(stride_time):
    """Stride rates down to 0.4 Hz; the loading wave is all but gone (Holden et al. 1997, Clin Biomech 12:375)."""
    leg = Leg(loading_deg=5.5)
    recorded = plain_walk(Gait(stride_time_s=stride_time, left=leg, right=leg), 60.0)
    walk = detect_walk(recorded.knees, recorded.fs, P)
    for side in SIDES:
        truth = recorded.onsets("initial_contact", side)
        found = onsets(walk.events, "initial_contact", side)
        assert len(match_instants(truth, found, 0.1 * stride_time)) == truth.size == found.size


def test_a_stiff_knee_with_a_quarter_of_the_swing_wave_and_no_loading_wave_loses_no_stride():
    """The swing of a person after stroke can shrink to this; the other knee's rhythm says where to look."""
    stiff = Leg(swing_peak_deg=18.0, loading_deg=5.0, minimum_deg=5.0, peak_fraction=0.68)
    recorded = plain_walk(Gait(right=stiff), 60.0)
    walk = detect_walk(recorded.knees, recorded.fs, P)
    for side in SIDES:
        score, _ = scored(recorded, walk.events, side)
        assert score.missed + score.surplus <= 1


def test_offsets_of_the_settings_move_events_by_a_share_of_the_stride():
    """Three and minus two percent of 1.25 s."""
    recorded = plain_walk(Gait(stride_time_s=1.25))
    plain = detect_walk(recorded.knees, recorded.fs, P).events
    moved = replace(P, toe_off_offset_percent=P.toe_off_offset_percent + 3.0,
                    contact_offset_percent=P.contact_offset_percent - 2.0)  # fmt: skip
    found = detect_walk(recorded.knees, recorded.fs, moved).events
    for side in SIDES:
        for kind, shift in (("toe_off", 0.03), ("initial_contact", -0.02)):
            way = onsets(found, kind, side) - onsets(plain, kind, side)
            np.testing.assert_allclose(way, shift * 1.25, rtol=0.1)


@pytest.mark.parametrize("side", SIDES)
def test_one_knee_alone_works(side):
    recorded = plain_walk()
    walk = detect_walk({side: recorded.knees[side]}, recorded.fs, P)
    score, _ = scored(recorded, walk.events, side)
    assert score.f1 == 1.0
    assert set(walk.events["side"]) == {side}
    assert walk.strides["phase"].isna().all()
    assert walk.strides["stride_time"].notna().all()


@given(gain=st.sampled_from([0.2, 5.0]), side=st.sampled_from(SIDES), offset=st.floats(-50, 50))
@FEW
def test_gain_and_offset_of_one_side_move_no_event(limping, gain, side, offset):
    recorded, before = limping
    knees = {name: x * (gain if name == side else 1.0) + offset for name, x in recorded.knees.items()}
    same, move = moved(before, detect_walk(knees, recorded.fs, P))
    assert same >= 0.995
    assert move <= 0.01


@given(signs=st.sampled_from([(1, -1), (-1, 1), (-1, -1)]))
@FEW
def test_inverted_polarity_is_found_and_moves_no_event(limping, signs):
    recorded, before = limping
    knees = {side: sign * recorded.knees[side] for side, sign in zip(SIDES, signs, strict=True)}
    after = detect_walk(knees, recorded.fs, P)
    assert tuple(after.polarity[side].sign for side in SIDES) == signs
    assert all(after.polarity[side].margin > 0.03 for side in SIDES)
    same, move = moved(before, after)
    assert same >= 0.995
    assert move <= 0.01


@given(left=st.floats(-2, 2), right=st.floats(-2, 2))
@FEW
def test_drift_of_twice_the_amplitude_per_minute_moves_no_event(limping, left, right):
    recorded, before = limping
    knees = {
        side: x + rate * amplitude(x) * np.arange(x.size) / recorded.fs / 60.0
        for (side, x), rate in zip(recorded.knees.items(), (left, right), strict=True)
    }
    same, move = moved(before, detect_walk(knees, recorded.fs, P))
    assert same >= 0.995
    assert move <= 0.01


@pytest.mark.parametrize("fs", [50.0, 64.0, 128.0, 1000.0])
def test_resampling_moves_no_event(limping, fs):
    recorded, before = limping
    seconds = (recorded.knees["left"].size - 1) / recorded.fs
    time = np.arange(int(seconds * fs) + 1) / fs
    knees = {side: CubicSpline(np.arange(x.size) / recorded.fs, x)(time) for side, x in recorded.knees.items()}
    same, move = moved(before, detect_walk(knees, fs, P))
    assert same >= 0.995
    assert move <= 0.02


@given(seed=st.integers(0, 2**32 - 1))
@FEW
def test_ten_percent_noise_moves_no_event(limping, seed):
    """White noise of a tenth of the signal's standard deviation."""
    recorded, before = limping
    rng = np.random.default_rng(seed)
    knees = {side: x + 0.1 * x.std() * rng.standard_normal(x.size) for side, x in recorded.knees.items()}
    same, move = moved(before, detect_walk(knees, recorded.fs, P))
    assert same >= 0.995
    assert move <= 0.02


def test_a_late_start_of_the_recording_shifts_every_event_alike(limping):
    recorded, before = limping
    first = 137
    after = detect_walk({side: x[first:] for side, x in recorded.knees.items()}, recorded.fs, P)
    same, move = moved(before, after, delay=-first / recorded.fs)
    assert same >= 0.995
    assert move <= 0.01


def test_a_lagging_sensor_is_put_right_by_its_time_constant():
    """A first-order sensor delays every landmark; the lag that is told is undone."""
    from strainstudy_simulator.sensor import first_order_lag

    recorded = plain_walk()
    knees = {side: first_order_lag(x, recorded.fs, 0.05) for side, x in recorded.knees.items()}
    before = detect_walk(recorded.knees, recorded.fs, P)
    late = detect_walk(knees, recorded.fs, P)
    right = detect_walk(knees, recorded.fs, P, lags=dict.fromkeys(SIDES, 0.05))
    assert moved(before, late)[1] > 0.04
    assert moved(before, right)[1] < 0.01


def test_a_loop_that_is_told_moves_landmarks_back():
    """A curve that lies lower while it rises is late at every landmark but its turning points."""
    recorded = plain_walk()
    before = detect_walk(recorded.knees, recorded.fs, P)
    loops = {side: [(0.05 * amplitude(x), 0.15 * amplitude(x))] for side, x in recorded.knees.items()}
    knees = {side: x - loops[side][0][0] * branch(x, loops[side][0][1]) for side, x in recorded.knees.items()}
    late = detect_walk(knees, recorded.fs, P)
    right = detect_walk(knees, recorded.fs, P, loops=loops)
    for kind in ("initial_contact", "toe_off"):
        true, off, undone = (
            np.concatenate([onsets(walk.events, kind, side) for side in SIDES]) for walk in (before, late, right)
        )
        assert np.median(off - true) > 0.004
        assert abs(np.median(undone - true)) < 0.5 * np.median(off - true)


def test_gaps_and_spikes_cost_at_most_the_strides_they_touch():
    recorded = plain_walk(seconds=60.0)
    rng = np.random.default_rng(3)
    knees = {side: x.copy() for side, x in recorded.knees.items()}
    before = detect_walk(knees, recorded.fs, P)
    touched = []
    for at in (12.3, 24.9, 37.1):
        knees["left"][int(at * 100) : int(at * 100) + 40] = np.nan
        touched.append((at, at + 0.4))
    for at in rng.integers(500, 6000, 5):
        knees["right"][at] += 400.0
        touched.append((at / 100, at / 100))
    after = detect_walk(knees, recorded.fs, P)
    for side in SIDES:
        for kind in ("initial_contact", "toe_off"):
            one, two = onsets(before.events, kind, side), onsets(after.events, kind, side)
            match = match_instants(one, two, 0.02)
            lost = np.setdiff1d(one, one[match.reference])
            assert all(any(a - 1.2 <= t <= b + 1.2 for a, b in touched) for t in lost)
            assert lost.size <= 8


def test_rest_of_a_second_between_walks_is_found_and_rest_and_walk_are_told_apart_in_time():
    gait = Gait()
    script = [
        Segment("rest", 4.0), Segment("walk", 15.0, gait), Segment("rest", 1.0), Segment("walk", 15.0, gait),
        Segment("rest", 2.0), Segment("walk", 15.0, gait), Segment("rest", 4.0),
    ]  # fmt: skip
    recorded = simulated(script, 5)
    walk = detect_walk(recorded.knees, recorded.fs, P)
    assert walk.states["walk"].max() == 2
    seconds = recorded.knees["left"].size / recorded.fs
    for own, truth in ((("rest",), ("rest",)), (("gait", "turn"), ("normal_gait",))):
        there = time_in(recorded.labels, truth, seconds)
        found = time_in(walk.states, own, seconds)
        assert found[there].mean() >= 0.97


@pytest.mark.parametrize("stride_time", [0.9, 1.1, 1.4])
def test_turns_starts_and_stops_are_kept_out_of_steady_strides(stride_time):
    """Undetected turns raise stride-time variability (PMC6348278)."""
    gait = Gait(stride_time_s=stride_time)
    walk_part, turn_part = Segment("walk", 20.0, gait), Segment("turn", 3.5, turning(gait, "left"))
    script = [Segment("rest", 3.0), walk_part, turn_part, walk_part, turn_part, walk_part, Segment("rest", 3.0)]
    recorded = simulated(script, 8)
    walk = detect_walk(recorded.knees, recorded.fs, P)
    turns = walk.states[walk.states["trial_type"] == "turn"]
    true = recorded.labels[recorded.labels["trial_type"] == "turn"]
    assert len(turns) == len(true) == 2
    middle = (true["onset"] + true["duration"] / 2).to_numpy()
    steady = walk.strides[walk.strides["steady"]]
    first, last = steady["onset"].to_numpy(), (steady["onset"] + steady["stride_time"]).to_numpy()
    assert not ((first[:, None] < middle) & (last[:, None] > middle)).any()
    assert not walk.states.loc[walk.states["trial_type"] == "turn", "steady"].any()
    for side in SIDES:
        rows = walk.strides[walk.strides["side"] == side]
        assert not rows["steady"].iloc[[0, 1, -2, -1]].any()


def test_no_turn_is_seen_where_nobody_turns():
    """Ten minutes straight on, in a normal walk and in two limps."""
    for seed, gait in enumerate((Gait(), limp(Gait(), "left", "both", 0.8), limp(Gait(), "right", "timing", 0.8))):
        recorded = plain_walk(gait, 200.0, seed)
        assert "turn" not in set(detect_walk(recorded.knees, recorded.fs, P).states["trial_type"])


@pytest.mark.parametrize(("period", "hold"), [(2.4, 0.0), (3.5, 0.5), (2.0, 4.0)])
@pytest.mark.parametrize("legs", [SIDES, ("left",)])
def test_bends_after_a_walk_are_other_movement_and_cost_the_walk_nothing(period, hold, legs):
    """Squats, slow squats and bends held for 4 s, of both legs or of one."""
    recorded = plain_walk(seconds=20.0)
    clock = np.mod(np.arange(int(5 * (period + hold) * 100)) / 100, period + hold)
    falling = np.where(clock > period / 2 + hold, clock - hold, period / 2)
    bend = 45 - 45 * np.cos(2 * np.pi * np.where(clock < period / 2, clock, falling) / period)
    still = np.zeros(300)
    knees = {
        side: np.concatenate([x, x[-1] + (bend if side in legs else 0.0 * bend), x[-1] + still])
        for side, x in recorded.knees.items()
    }
    walk = detect_walk(knees, recorded.fs, P)
    for side in SIDES:
        assert scored(recorded, walk.events, side)[0].f1 == 1.0
    after = walk.states[walk.states["onset"] > recorded.knees["left"].size / recorded.fs]
    assert set(after["trial_type"]) <= {"rest", "other"}
    assert "other" in set(walk.states["trial_type"])


def test_a_loose_sensor_neither_adds_events_nor_breaks_the_walk_of_the_other_knee():
    recorded = plain_walk()
    alone = detect_walk({"right": recorded.knees["right"]}, recorded.fs, P)
    noise = np.random.default_rng(0).standard_normal(recorded.knees["left"].size)
    both = detect_walk({"left": noise, "right": recorded.knees["right"]}, recorded.fs, P)
    assert set(both.events["side"]) == {"right"}
    assert both.states["walk"].max() == 0
    one, two = (onsets(walk.events, "initial_contact", "right") for walk in (alone, both))
    assert two == pytest.approx(one, abs=0.02)


def test_time_without_data_of_either_knee_is_no_rest():
    recorded = plain_walk()
    knees = {side: x.copy() for side, x in recorded.knees.items()}
    for x in knees.values():
        x[2000:2600] = np.nan
    states = detect_walk(knees, recorded.fs, P).states
    assert not time_in(states, ("rest",), 46.0)[2000:2600].any()
    assert states["walk"].max() == 1


def test_states_tile_the_recording_without_overlap(limping):
    recorded, walk = limping
    ends = (walk.states["onset"] + walk.states["duration"]).to_numpy()
    assert walk.states["onset"].iloc[0] == 0.0
    assert ends[:-1] == pytest.approx(walk.states["onset"].to_numpy()[1:])
    assert ends[-1] == pytest.approx(recorded.knees["left"].size / recorded.fs)
    assert set(walk.states["trial_type"]) <= {"rest", "gait", "turn", "other"}


def test_noise_and_slow_bends_of_both_knees_are_no_walk():
    rng = np.random.default_rng(2)
    noise = {side: rng.standard_normal(6000) for side in SIDES}
    assert not len(detect_walk(noise, 100.0, P).events)
    time = np.arange(6000) / 100
    bends = {side: 45 - 45 * np.cos(2 * np.pi * time / 2.4) + 0.3 * rng.standard_normal(6000) for side in SIDES}
    assert not len(detect_walk(bends, 100.0, P).events)


@pytest.mark.parametrize(
    "knees",
    [{}, {"left": np.full(1000, np.nan)}, {"left": np.zeros(1000), "right": np.zeros(1000)}, {"left": np.zeros(3)}],
)
def test_nothing_to_find_gives_empty_frames(knees):
    walk = detect_walk(knees, 100.0, P)
    assert not len(walk.events)
    assert not len(walk.strides)
    assert set(walk.states["trial_type"]) <= {"other"}


def test_wrong_input_is_named():
    with pytest.raises(ValueError, match="'left' or 'right'"):
        detect_walk({"knee": np.zeros(10)}, 100.0, P)
    with pytest.raises(ValueError, match="same number of samples"):
        detect_walk({"left": np.zeros(10), "right": np.zeros(11)}, 100.0, P)


def test_steps_phase_and_stance_of_known_walks():
    """The simulated right foot strikes at 0.5 of the left stride; stance is 0.62 of the stride."""
    recorded = plain_walk()
    strides = detect_walk(recorded.knees, recorded.fs, P).strides
    steady = strides[strides["steady"]]
    assert steady["phase"].mean() == pytest.approx(EVEN_DEG, abs=2.0)
    assert steady["step_time"].mean() == pytest.approx(steady["stride_time"].mean() / 2, rel=0.01)
    assert steady["stance_fraction"].mean() == pytest.approx(0.62, abs=0.03)
    assert (steady["stance_time"] + steady["swing_time"]).to_numpy() == pytest.approx(steady["stride_time"].to_numpy())
    assert steady["swing_peak"].mean() == pytest.approx(60.0, abs=3.0)


def test_late_step_of_one_side_shows_in_phase_and_step_time_with_the_right_sign():
    """Right contact at 0.6 of the left stride: the right step is the longer, the phase of the left stride is 216."""
    recorded = plain_walk(replace(Gait(), step_phase=0.6))
    strides = detect_walk(recorded.knees, recorded.fs, P).strides
    steady = strides[strides["steady"]].groupby("side")
    assert steady["phase"].mean()["left"] == pytest.approx(216.0, abs=4.0)
    assert steady["phase"].mean()["right"] == pytest.approx(144.0, abs=4.0)
    assert steady["step_time"].mean()["right"] == pytest.approx(0.6 * 1.08, abs=0.02)
    assert steady["step_time"].mean()["left"] == pytest.approx(0.4 * 1.08, abs=0.02)


def test_same_input_gives_the_same_frames(limping):
    recorded, before = limping
    after = detect_walk(recorded.knees, recorded.fs, P)
    assert before.events.equals(after.events)
    assert before.strides.equals(after.strides)
    assert before.states.equals(after.states)
