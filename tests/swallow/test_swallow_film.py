"""Short recordings of a film over the larynx: waveforms unlike, envelopes alike, two acts alone in their session."""

import numpy as np
import pytest
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.swallow.candidates import detect_together
from strainstudy.swallow.generic import accept_generic
from strainstudy.swallow.parameters import SwallowParameters
from strainstudy_simulator.film import FILM_KINDS, Film, FilmPerson, film_recording

PARAMETERS = SwallowParameters()


def _streams(kind, numbers, polarity=1, gain=1.0):
    streams = []
    for number in numbers:
        rng = np.random.default_rng([77, number, FILM_KINDS.index(kind)])
        film = Film(polarity=polarity)
        volts, _ = film_recording(kind, film, FilmPerson.drawn(rng), rng)
        done = condition_trace(
            gain * volts, film.fs, tracked_point="throat", units="a.u.", parameters=ConditionParameters()
        )
        streams.append((done.response, film.fs))
    return streams


def _counts(groups):
    found = [frame for group in groups for frame in detect_together(group, PARAMETERS)]
    return np.array([accept_generic(frame, PARAMETERS).sum() for frame in found])


@pytest.mark.parametrize(("kind", "least"), [("dry", 0.9), ("water", 0.8), ("head_moving", 0.7)])
def test_exactly_two_swallows_are_found_in_recordings_alone_in_their_session(kind, least):
    """A plain threshold on the envelope counts two in 17 of 18, 10 of 18 and 4 of 6 real recordings."""
    counts = _counts([[stream] for stream in _streams(kind, range(10))])
    assert (counts == 2).mean() >= least


@pytest.mark.parametrize(("kind", "least"), [("cough", 0.9), ("rest", 0.95), ("speech", 0.9)])
def test_coughs_rest_and_speech_hold_no_swallow(kind, least):
    counts = _counts([[stream] for stream in _streams(kind, range(20))])
    assert (counts == 0).mean() >= least


def _moved(streams, move):
    """Add a slow movement, in V, where swallows swing by 1 to 2."""
    for x, fs in streams:
        t = np.arange(len(x)) / fs
        yield x + move(t), fs


def test_a_slow_rise_and_fall_or_a_change_of_posture_in_a_still_recording_is_no_swallow():
    """It has no strokes; posture does not come back, and a hump has no other like it."""
    streams = _streams("rest", range(4))
    hump = _moved(streams, lambda t: 1.2 * np.where(abs(t - 5) < 0.8, np.cos(np.pi * (t - 5) / 1.6) ** 2, 0.0))
    step = _moved(streams, lambda t: np.clip((t - 5) / 0.5, 0, 1))
    assert not _counts([[stream] for stream in (*hump, *step)]).any()


def test_swallows_are_found_beside_slow_movements_as_large_as_they_are():
    streams = _streams("dry", range(4)) + _streams("water", range(4))
    bent = _moved(streams, lambda t: np.sin(2 * np.pi * 0.15 * t) + np.clip((t - 12.5) / 0.6, 0, 1))
    assert (_counts([[stream] for stream in bent]) == 2).mean() >= 0.8


def test_unlike_waveforms_in_one_session_do_not_speak_against_swallows():
    streams = _streams("dry", range(6)) + _streams("cough", range(4))
    counts = _counts([streams])
    assert (counts[:6] == 2).mean() >= 0.8
    assert (counts[6:] == 0).mean() >= 0.7


def test_polarity_and_unit_change_nothing():
    plain = _counts([_streams("water", range(3))])
    turned = _counts([_streams("water", range(3), polarity=-1, gain=1000.0)])
    np.testing.assert_array_equal(plain, turned)
