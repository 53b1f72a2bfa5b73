"""The film over the larynx against what 33 real recordings of one measured (medians, 10th to 90th percentile)."""

import numpy as np
import pandas as pd
import pytest
from film_facts import MEDIANS, REST, film_facts
from strainstudy_simulator.film import FILM_KINDS, Film, FilmPerson, film_recording, film_stream

RANGES = {
    "span_s": ((0.91, 1.53), (1.08, 1.60), (0.90, 1.38), (1.13, 1.96), (0.72, 4.0)),
    "over_rest": ((14, 29), (6.5, 16.5), (6, 9), (12, 21), (2, 5.6)),
    "turns": ((4, 7), (6, 11), (5, 9), (9, 17), (7, 64)),
    "centroid_hz": ((2.6, 4.7), (2.7, 5.1), (3.5, 4.7), (5.1, 7.0), (2.9, 8.1)),
}
"""Published 10th to 90th percentiles; water over rest 16 is given half a unit."""
TOLERANCES = {
    "peak_to_peak": 0.35, "strokes": 0.12, "at_rail": 0.08, "below_3": 0.12, "from_3_to_6": 0.12, "above_6": 0.08,
    "waveform": 0.2, "envelope": 0.1,
}  # fmt: skip
"""Where the table gives no percentiles: how far from its median; the swing of coughs and the likeness of unlike
events, of which there were six and three pairs, are given more (below)."""
PUBLISHED = FILM_KINDS[:5]
"""The table says nothing of speech."""
WIDER = {("envelope", "cough"): 0.32, ("from_3_to_6", "cough"): 0.15}


@pytest.fixture(scope="module")
def measured():
    tables = {}
    for k, kind in enumerate(PUBLISHED):
        rows = []
        for number in range(24):
            rng = np.random.default_rng([5, number, k])
            volts, _ = film_recording(kind, Film(), FilmPerson.drawn(rng), rng)
            rows += film_facts(volts, Film().fs)
        tables[kind] = pd.DataFrame(rows)
    return tables


@pytest.mark.parametrize("kind", PUBLISHED)
def test_every_row_of_the_published_table_is_met(measured, kind):
    k = FILM_KINDS.index(kind)
    for name, medians in MEDIANS.items():
        median = measured[kind][name].median()
        if name in RANGES:
            low, high = RANGES[name][k]
            assert low <= median <= high, f"{kind} {name}: {median:.2f} not in {low:g} to {high:g}"
        else:
            wanted = medians[k] if k < len(medians) else REST[name]
            tolerance = WIDER.get((name, kind), TOLERANCES[name])
            assert abs(median - wanted) <= tolerance, f"{kind} {name}: {median:.2f}, not {wanted:g}"


def test_rest_holds_the_pulse_of_the_carotid_artery_and_mains_hum():
    rng = np.random.default_rng(3)
    volts, truth = film_recording("rest", Film(), FilmPerson(heart_hz=1.2), rng, seconds=60.0)
    assert truth == ()
    power = np.abs(np.fft.rfft((volts - volts.mean()) * np.hanning(len(volts)))) ** 2
    hertz = np.fft.rfftfreq(len(volts), 1 / Film().fs)

    def largest(low, high):
        inside = (hertz > low) & (hertz < high)
        return hertz[inside][np.argmax(power[inside])]

    assert largest(40, 60) == pytest.approx(50.02, abs=0.05)
    assert largest(0.9, 1.7) == pytest.approx(1.2, abs=0.1)


def test_strokes_to_the_side_of_the_near_rail_are_cut_off_and_polarity_turns_all_over():
    up, down = (
        film_stream([("dry", 3.0)], 8.0, Film(polarity=polarity), FilmPerson(), np.random.default_rng(1))[0]
        for polarity in (1, -1)
    )
    assert (up == 0).sum() > 100
    assert up.max() < 5.0
    np.testing.assert_allclose(up + down, up[0] + down[0])


def test_truth_is_cut_to_the_recording():
    rng = np.random.default_rng(1)
    _, truth = film_stream([("dry", -0.4), ("cough", 7.9)], 8.0, Film(), FilmPerson(), rng)
    assert [event.trial_type for event in truth] == ["swallow", "cough"]
    assert truth[0].onset == 0.0
    assert truth[1].end <= 8.0


def test_an_unknown_kind_is_refused():
    with pytest.raises(ValueError, match=", ".join(FILM_KINDS)):
        film_recording("sneeze", Film(), FilmPerson(), np.random.default_rng(1))


def test_speech_has_syllables_and_a_voice():
    """Modulation of speech is strongest at 4 to 5.5 Hz (Ding N et al. 2017, from memory); voices, 100 to 220 Hz."""
    rng = np.random.default_rng(2)
    volts, truth = film_stream([("speech", 1.0)], 8.0, Film(rest_v=2.5), FilmPerson(), rng)
    assert [event.trial_type for event in truth] == ["speech"]
    assert 1.2 < truth[0].duration < 6.0
    inside = volts[int(truth[0].onset * 1920) : int(truth[0].end * 1920)]
    power = np.abs(np.fft.rfft((inside - inside.mean()) * np.hanning(len(inside)))) ** 2
    hertz = np.fft.rfftfreq(len(inside), 1 / 1920)
    assert power[(hertz > 95) & (hertz < 225)].sum() > 20 * power[(hertz > 300) & (hertz < 430)].sum()
    voiced = (hertz > 95) & (hertz < 225)
    loudness = np.abs(np.fft.irfft(np.where(voiced, np.fft.rfft(inside), 0), len(inside)))
    modulation = np.abs(np.fft.rfft(loudness - loudness.mean()))
    slow = (hertz > 1.5) & (hertz < 12)
    assert 3.0 < (hertz[slow] @ modulation[slow] / modulation[slow].sum()) < 8.0
