"""Throat streams for the tests of swallow detection, made apart from the simulator of the package.

Swallows are raised cosines with a plateau whose length follows surface EMG norms (1.1 s, SD 0.2 s); speech is
syllables at 3-6 Hz; coughs are pulses of a fifth of a second, one to four in a row; head movements go and come
back slowly or stay. Three sensors see them: one that holds, one that lets go, one that answers to change and rings.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.signal import lfilter

ANSWERS = ("holds", "lets_go", "rings")


def _bump(t, onset, duration, rise=0.4, fall=0.45):
    u = (t - onset) / duration
    up = 0.5 - 0.5 * np.cos(np.pi * np.clip(u / rise, 0, 1))
    down = 0.5 - 0.5 * np.cos(np.pi * np.clip((1 - u) / fall, 0, 1))
    return np.where((u > 0) & (u < 1), np.minimum(up, down), 0.0)


def _speech(t, onset, duration, rng):
    rate = rng.uniform(3.0, 6.0)
    at, wave = onset, np.zeros_like(t)
    while at < onset + duration - 0.2:
        length = rng.lognormal(np.log(1 / rate), 0.25)
        wave += 0.35 * rng.lognormal(0, 0.4) * rng.choice([1, 1, -0.5]) * _bump(t, at, 1.2 * length, 0.5, 0.5)
        at += length * rng.choice([1.0, 1.0, 1.0, 2.2])
    return wave


def movements(acts, seconds, fs, rng):
    """Displacement for acts (word, onset, duration, size)."""
    t = np.arange(round(seconds * fs)) / fs
    wave = np.zeros_like(t)
    for word, onset, duration, size in acts:
        if word == "swallow":
            wave += size * _bump(t, onset, duration, rng.uniform(0.35, 0.42), rng.uniform(0.42, 0.5))
        elif word == "speech":
            wave += size * _speech(t, onset, duration, rng)
        elif word == "cough":
            for k in range(max(int(duration / 0.4), 1)):
                sign = rng.choice([-1, 1])
                wave += sign * size * rng.uniform(0.8, 1.5) * _bump(t, onset + 0.4 * k, 0.22, 0.2, 0.8)
        elif word == "posture":
            wave += size * (0.5 - 0.5 * np.cos(np.pi * np.clip((t - onset) / duration, 0, 1)))
        else:
            wave += size * _bump(t, onset, duration, 0.25, 0.25)
    return wave


def answer(displacement, fs, kind):
    """Stream of a sensor that holds, lets go within 0.4 s, or answers to change and rings at 6 Hz."""
    if kind == "holds" or not len(displacement):
        return displacement
    if kind == "lets_go":
        decay = np.exp(-1 / (0.4 * fs))
        return lfilter([1, -1], [1, -decay], displacement)
    turn, decay = 2 * np.pi * 6.0 / fs, np.exp(-2 * np.pi * 6.0 * 0.15 / fs)
    ring = [1.0, -2 * decay * np.cos(turn), decay**2]
    return 0.15 * lfilter([sum(ring)], ring, np.gradient(displacement) * fs)


def random_acts(seconds, rng, *, confounders=True, usual_s=1.1):
    """Swallows, doubles and bursts of sips among confounders, with pauses of 1.5 to 4 s."""
    acts, at = [], 2.0
    while at < seconds - 12:
        word = rng.choice(["one", "one", "double", "sips", "speech", "cough", "head", "posture"])
        group = []
        if word in ("one", "double", "sips"):
            for _ in range({"one": 1, "double": 2, "sips": int(rng.integers(3, 7))}[word]):
                duration = usual_s * rng.normal(0.8 if word == "sips" else 1.0, 0.1)
                group.append(("swallow", at, duration, rng.lognormal(0, 0.2)))
                at += duration + rng.uniform(0.2, 0.5)
        elif confounders:
            duration = {
                "speech": rng.uniform(2, 6),
                "cough": 0.4 * rng.integers(1, 5),
                "head": rng.uniform(2.0, 4.0),
                "posture": rng.uniform(0.8, 2.0),
            }[word]
            size = rng.choice([-1, 1]) * rng.uniform(1, 2.5) if word in ("head", "posture") else rng.uniform(0.7, 1.3)
            group.append((word, at, duration, size))
            at += duration
        acts += group
        at += rng.uniform(1.5, 4.0) if group else 0.0
    return acts


def labels_of(acts):
    """Write acts as a rater would."""
    words = {"head": "head_movement", "posture": "head_movement"}
    rows = [(onset, duration, words.get(word, word)) for word, onset, duration, _ in acts]
    return pd.DataFrame(rows, columns=["onset", "duration", "trial_type"])


def throat_stream(seed, kind="holds", *, seconds=240.0, fs=100.0, noise=0.01, polarity=1, scale=1.0, **options):
    """One stream and its labels."""
    rng = np.random.default_rng([seed, ANSWERS.index(kind)])
    acts = random_acts(seconds, rng, **options)
    wave = answer(movements(acts, seconds, fs, rng), fs, kind)
    t = np.arange(len(wave)) / fs
    drift = 0.2 * np.sin(2 * np.pi * t / 97.0) + 0.02 * np.sin(2 * np.pi * 0.25 * t)
    stream = wave + drift * (0.1 if kind == "rings" else 1.0) + noise * rng.standard_normal(len(wave))
    return polarity * scale * stream, labels_of(acts)


def counts(found, labels, tolerance=0.5):
    """True positives, false positives, false negatives by centre within the tolerance (greedy is exact here)."""
    wanted = labels[labels["trial_type"] == "swallow"]
    a = np.sort((found["onset"] + found["duration"] / 2).to_numpy())
    b = np.sort((wanted["onset"] + wanted["duration"] / 2).to_numpy())
    i = j = hits = 0
    while i < len(a) and j < len(b):
        if abs(a[i] - b[j]) <= tolerance:
            hits, i, j = hits + 1, i + 1, j + 1
        elif a[i] < b[j]:
            i += 1
        else:
            j += 1
    return hits, len(a) - hits, len(b) - hits


def f1(found, labels):
    """F1 of detected swallows against labels."""
    hits, false, missed = counts(found, labels)
    return 2 * hits / max(2 * hits + false + missed, 1)
