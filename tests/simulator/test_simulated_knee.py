"""Simulated knees against published gait norms, their own truth, and real walking where it is at hand."""

import csv
import itertools
import os
from pathlib import Path

import numpy as np
import pytest
from strainstudy_simulator.bends import hold_bends, squats
from strainstudy_simulator.knee import (
    MECHANISMS,
    REFERENCE_CURVE_DEG,
    Gait,
    Segment,
    correlated_noise,
    healthy_gait,
    knee_cycle,
    limp,
    turning,
    walk_knees,
)

FS = 100.0
SIDES = ("left", "right")


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(seed))


def onsets(truth, kind, side):
    return np.array([e.onset for e in truth if e.trial_type == kind and e.side == side])


def cycles(angle, contacts, points=101):
    time = np.arange(len(angle)) / FS
    pairs = itertools.pairwise(contacts)
    return np.array([np.interp(np.linspace(a, b, points), time, angle) for a, b in pairs if b - a < 2.5])


@pytest.fixture(scope="module")
def healthy():
    """Twenty healthy people, a minute's walk each."""
    walks = []
    for seed in range(20):
        generator = rng(seed)
        gait = healthy_gait(generator)
        walks.append(walk_knees([Segment("walk", 60, gait)], FS, generator))
    return walks


def test_the_reference_curve_comes_back_from_its_own_landmarks():
    """Schwartz, Rozumalski & Trost 2008, 51 points; the periodic spline joins 5.5 and 5.2 degrees at contact."""
    phase = np.linspace(0, 1, 51)
    curve = knee_cycle(phase, loading_deg=19.7, minimum_deg=6.7, swing_peak_deg=60.5)
    np.testing.assert_allclose(curve, REFERENCE_CURVE_DEG, atol=0.16)


def test_landmarks_are_met_by_scaled_curves():
    phase = np.linspace(0, 1, 1001)
    curve = knee_cycle(phase, loading_deg=12.0, minimum_deg=4.0, swing_peak_deg=30.0, contact_dip_deg=5.0)
    assert curve.max() == pytest.approx(30.0, abs=0.1)
    assert curve[:300].max() == pytest.approx(12.0, abs=0.1)
    assert curve[400:440].min() == pytest.approx(4.0, abs=0.1)
    assert curve.min() == pytest.approx(-1.0, abs=0.15)


def test_healthy_stride_times_and_their_variation_are_those_of_adults(healthy):
    """Frenkel-Toledo 2005: stride 1.08 (SD 0.09) s, CV 1.94 (0.36) %; Gassner 2020: CV 2.80 (0.81) %;
    Hausdorff and others, from memory: 1-3 % in health.
    """
    strides = [np.diff(onsets(m.truth, "initial_contact", "left"))[2:-2] for m in healthy]
    means = np.array([s.mean() for s in strides])
    cvs = np.array([100 * s.std(ddof=1) / s.mean() for s in strides])
    assert means.mean() == pytest.approx(1.08, abs=0.05)
    assert 0.04 < means.std() < 0.10
    assert 1.6 < cvs.mean() < 2.9
    assert cvs.max() < 4.5


def test_healthy_swing_peaks_are_about_60_degrees_at_70_to_73_percent(healthy):
    """Perry & Burnfield 2010 (from memory): swing peak about 60 at 70-73 %; adults differ by 5-8 degrees."""
    curves = [cycles(m.angles[s], onsets(m.truth, "initial_contact", s)[2:-2]) for m in healthy for s in SIDES]
    peaks = np.array([c.max(axis=1).mean() for c in curves])
    places = np.array([c.mean(axis=0).argmax() for c in curves])
    assert peaks.mean() == pytest.approx(60, abs=3)
    assert 2 < peaks.std() < 8
    assert 70 <= places.mean() <= 74


def test_stance_takes_60_to_65_percent_of_a_healthy_stride(healthy):
    """Sources from 60.4 % (Front Neurol 2020 11:893) to 64.7 % (Frenkel-Toledo 2005)."""
    shares = []
    for motion in healthy:
        contact, toe_off = (onsets(motion.truth, kind, "left") for kind in ("initial_contact", "toe_off"))
        for a, b in itertools.pairwise(contact):
            shares.extend((toe_off[(toe_off > a) & (toe_off < b)] - a) / (b - a))
    assert 0.604 <= np.mean(shares) <= 0.647


def test_knee_at_toe_off_is_bent_by_about_40_degrees(healthy):
    """Perry & Burnfield 2010 (from memory): about 40 degrees at toe-off, 62 % of the cycle."""
    bent = [
        np.interp(onsets(m.truth, "toe_off", "left")[2:-2] * FS, np.arange(6000), m.angles["left"]) for m in healthy
    ]
    assert np.mean(np.concatenate(bent)) == pytest.approx(40, abs=4)


def test_feet_take_turns_and_leave_the_ground_between_contacts(healthy):
    for motion in healthy:
        contacts = [e.side for e in motion.truth if e.trial_type == "initial_contact"]
        assert all(a != b for a, b in itertools.pairwise(contacts))
        for side in SIDES:
            contact, toe_off = (onsets(motion.truth, kind, side) for kind in ("initial_contact", "toe_off"))
            inside = [((toe_off > a) & (toe_off < b)).sum() for a, b in itertools.pairwise(contact)]
            assert inside == [1] * len(inside)


def test_healthy_steps_are_half_a_stride_apart(healthy):
    phases = []
    for motion in healthy:
        left, right = (onsets(motion.truth, "initial_contact", s) for s in SIDES)
        for a, b in itertools.pairwise(left):
            phases.extend((right[(right > a) & (right < b)] - a) / (b - a))
    assert np.mean(phases) == pytest.approx(0.5, abs=0.01)


def test_states_tile_the_recording_and_hold_all_contacts():
    generator = rng(3)
    gait = healthy_gait(generator)
    limping = limp(gait, "left", "both", 0.8)
    script = [
        Segment("rest", 4), Segment("walk", 10, gait), Segment("turn", 3, turning(gait, "left")),
        Segment("walk", 9, limping), Segment("rest", 5), Segment("walk", 8, limping), Segment("rest", 4),
    ]  # fmt: skip
    motion = walk_knees(script, FS, generator)
    states = [e for e in motion.truth if e.duration > 0]
    assert [e.trial_type for e in states] == [
        "rest", "normal_gait", "turn", "limping_gait", "rest", "limping_gait", "rest",
    ]  # fmt: skip
    assert states[0].onset == 0
    assert states[-1].end == pytest.approx(43.0)
    for before, after in itertools.pairwise(states):
        assert before.end == pytest.approx(after.onset)
    for e in motion.truth:
        if e.duration == 0:
            homes = {s.trial_type for s in states if s.onset - 1e-9 <= e.onset <= s.end + 1e-9}
            assert homes - {"rest"}
    assert {e.side for e in states if e.trial_type == "limping_gait"} == {"left"}


def test_standing_is_still_and_nearly_straight():
    motion = walk_knees([Segment("rest", 60)], FS, rng(2))
    for angle in motion.angles.values():
        assert np.median(angle) < 15
        assert np.median(np.abs(np.diff(angle))) * FS < 5


def test_a_stiff_limp_flattens_one_knee_and_a_timing_limp_moves_only_the_steps():
    gait = Gait()
    peaks, phases = {}, {}
    for mechanism in ("stiff", "timing", "both"):
        limping = limp(gait, "right", mechanism, 1.0)
        motion = walk_knees([Segment("walk", 50, limping)], FS, rng(4))
        contacts = {s: onsets(motion.truth, "initial_contact", s) for s in SIDES}
        peaks[mechanism] = {s: cycles(motion.angles[s], contacts[s][2:-2]).max(axis=1).mean() for s in SIDES}
        left, right = contacts["left"], contacts["right"]
        inside = [right[(right > a) & (right < b)][:1] for a, b in itertools.pairwise(left)]
        phases[mechanism] = np.mean(
            [(r[0] - a) / (b - a) for r, a, b in zip(inside, left[:-1], left[1:], strict=True) if len(r)]
        )
    assert peaks["stiff"]["right"] < 0.5 * peaks["stiff"]["left"]
    assert peaks["timing"]["right"] == pytest.approx(peaks["timing"]["left"], abs=3)
    assert abs(phases["stiff"] - 0.5) < 0.05
    assert phases["timing"] > 0.58
    assert phases["both"] > 0.56


def test_every_limp_names_its_side_and_grows_with_severity():
    gait = Gait()
    for mechanism in MECHANISMS:
        mild, severe = (limp(gait, "left", mechanism, s) for s in (0.3, 0.9))
        assert mild.limping_side == severe.limping_side == "left"
        assert abs(severe.step_phase - 0.5) > abs(mild.step_phase - 0.5)
        assert severe.left.stance_fraction < gait.left.stance_fraction < severe.right.stance_fraction
    with pytest.raises(ValueError, match="stiff, timing, both, guarded"):
        limp(gait, "left", "hop", 0.5)


def test_steps_start_short_and_end_short():
    motion = walk_knees([Segment("rest", 3), Segment("walk", 20, Gait(swing_peak_sd_deg=0.5))], FS, rng(6))
    peaks = [
        motion.angles[e.side][int(e.onset * FS) : int(e.onset * FS) + 40].max()
        for e in motion.truth
        if e.trial_type == "toe_off"
    ]
    middle = np.mean(peaks[4:-4])
    assert peaks[0] < 0.93 * middle
    assert peaks[-1] < 0.90 * middle


def test_stride_noise_has_unit_variance_and_the_spectrum_of_long_memory():
    """Hausdorff 1995 (from memory): fractal exponent about 0.75, a spectrum of f^-0.5."""
    draws = np.array([correlated_noise(512, rng(seed)) for seed in range(200)])
    assert draws.var() == pytest.approx(1.0, rel=0.15)
    power = (np.abs(np.fft.rfft(draws * np.hanning(512), axis=1)) ** 2).mean(axis=0)
    frequency = np.fft.rfftfreq(512)
    use = (frequency > 0.01) & (frequency < 0.4)
    assert np.polyfit(np.log(frequency[use]), np.log(power[use]), 1)[0] == pytest.approx(-0.5, abs=0.1)


def test_holds_stand_at_their_angles():
    motion = hold_bends(FS, rng(2), targets_deg=(30, 45, 60, 90), placing_sd_deg=1.0)
    holds = [e for e in motion.truth if e.trial_type == "knee_bend"]
    for e in holds:
        inside = motion.angles[e.side][int((e.onset + 0.2) * FS) : int((e.end - 0.2) * FS)]
        assert np.median(inside) == pytest.approx(e.value, abs=4)
        assert np.ptp(inside) < 4
    left = [e.value for e in holds if e.side == "left"]
    assert left == [0, 30, 45, 60, 90, 60, 45, 30, 0, 30, 45, 60, 90]


def test_squats_bend_both_knees_at_once():
    motion = squats(FS, rng(2), count=3, depth_deg=80)
    bends = [e for e in motion.truth if e.side == "left"]
    assert len(bends) == 3
    for e in bends:
        for side in SIDES:
            assert motion.angles[side][int(e.onset * FS) : int(e.end * FS)].max() == pytest.approx(80, rel=0.15)


def _real_walks() -> Path:
    folder = os.environ.get("STRAINSTUDY_REAL_WALKS")
    if not folder:
        pytest.skip("STRAINSTUDY_REAL_WALKS does not name the folder of real walks")
    return Path(folder)


def _real_cycles(folder: Path, kind: str, side: str):
    found = []
    for file in sorted((folder / "raw").glob(f"*-{kind}-*.csv")):
        angle = np.genfromtxt(file, delimiter=",", names=True)[f"{side}_knee_deg"]
        rows = csv.DictReader(
            (folder / "labels" / file.stem / "forceplate_events.tsv").open(encoding="utf-8"), delimiter="\t"
        )
        contacts = [float(r["onset"]) for r in rows if r["trial_type"] == "initial_contact" and r["side"] == side]
        found.append(cycles(angle, np.array(contacts)))
    return found


def _shape(found):
    means = np.array([c.mean(axis=0) for c in found])
    low = means.min(axis=1, keepdims=True)
    return ((means - low) / (means.max(axis=1, keepdims=True) - low)).mean(axis=0)


@pytest.mark.parametrize(("kind", "agreement"), [("normal", 0.98), ("limp", 0.90)])
def test_simulated_curves_have_the_shape_of_real_ones(kind, agreement):
    """Pearl et al. 2022, doi 10.21203/rs.3.rs-1902381/v1: treadmill walking, normal and with a stiff left knee."""
    real = _real_cycles(_real_walks(), kind, "left")
    simulated = []
    for seed in range(8):
        generator = rng(seed)
        gait = healthy_gait(generator, stride_time_s=1.2)
        if kind == "limp":
            gait = limp(gait, "left", "stiff", generator.uniform(0.7, 1.0))
        motion = walk_knees([Segment("walk", 40, gait)], FS, generator)
        simulated.append(cycles(motion.angles["left"], onsets(motion.truth, "initial_contact", "left")[2:-2]))
    assert np.corrcoef(_shape(real), _shape(simulated))[0, 1] > agreement
    spread = [np.mean([c.max(axis=1).std() for c in found]) for found in (real, simulated)]
    assert 0.5 < spread[1] / spread[0] < 2
