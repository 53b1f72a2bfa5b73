"""Measure film recordings of a throat as the published table on real ones was measured.

Low-passed at 20 Hz; base line: running median of 3 s; envelope: root of the energy, smoothed at 1.5 Hz; an event's span
is where the envelope exceeds 20 % of its peak; the two largest events of a recording count. What the table's words
leave open: filters are second-order Butterworth ones run both ways, the SD of rest is that of the calmer half of the
recording, likeness is the largest correlation over shifts of up to 0.1 s of stretches of 1.6 s.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter
from scipy.signal import butter, find_peaks, resample_poly, sosfiltfilt

APART_S = 1.5
HALF_S, SHIFT_S = 0.8, 0.1

MEDIANS = {
    "span_s": (1.02, 1.25, 0.96, 1.50),
    "peak_to_peak": (2.5, 1.9, 2.3, 2.7),
    "over_rest": (17.6, 14.0, 7.4, 17.0),
    "turns": (5.5, 8.0, 6.0, 12.5),
    "strokes": (0.39, 0.34, 0.35, 0.33),
    "at_rail": (0.15, 0.11, 0.19, 0.09),
    "below_3": (0.33, 0.60, 0.38, 0.29),
    "from_3_to_6": (0.45, 0.24, 0.38, 0.34),
    "above_6": (0.13, 0.17, 0.22, 0.41),
    "centroid_hz": (4.0, 4.0, 4.2, 6.0),
    "waveform": (0.84, 0.65, 0.85, 0.28),
    "envelope": (0.97, 0.96, 0.98, 0.45),
}
"""The table's medians: dry swallow, water swallow, dry with the head moving, cough."""
REST = {
    "span_s": 0.86, "peak_to_peak": 0.35, "over_rest": 3.9, "turns": 13.0, "strokes": 0.65, "at_rail": 0.0,
    "below_3": 0.32, "from_3_to_6": 0.12, "above_6": 0.44, "centroid_hz": 6.6, "waveform": 0.22, "envelope": 0.87,
}  # fmt: skip


def envelope_of(volts, fs):
    """Level over the base line and envelope, at 120 Hz or less."""
    step = max(int(fs // 120), 1)
    low = sosfiltfilt(butter(2, min(20.0, 0.45 * fs), fs=fs, output="sos"), volts)
    if step > 1:
        low, fs = resample_poly(low, 1, step, padtype="line"), fs / step
    level = low - median_filter(low, 2 * int(1.5 * fs) + 1, mode="nearest")
    energy = sosfiltfilt(butter(2, 1.5, fs=fs, output="sos"), level**2)
    return level, np.sqrt(np.maximum(energy, 0)), fs


def plain_threshold(volts, fs, factor=6.0):
    """Count the spans of the envelope above a multiple of its 20th percentile."""
    _, envelope, _ = envelope_of(volts, fs)
    above = envelope > factor * np.percentile(envelope, 20)
    return int(np.count_nonzero(np.diff(np.concatenate([[0], above.astype(int)])) > 0))


def _likeness(a, b, fs):
    shift = int(SHIFT_S * fs)
    best = -1.0
    for lag in range(-shift, shift + 1, 2):
        x, y = (a[shift + lag : len(a) - shift + lag], b[shift : len(b) - shift])
        x, y = x - x.mean(), y - y.mean()
        best = max(best, float(x @ y / np.sqrt((x @ x) * (y @ y) + 1e-30)))
    return best


def film_facts(volts, fs, rails=(0.0, 5.0)):
    """Rows of events with what the table gives, and the likeness of the two events of the recording."""
    level, envelope, rate = envelope_of(volts, fs)
    peaks, _ = find_peaks(np.concatenate([[0], envelope, [0]]), distance=int(APART_S * rate))
    peaks = peaks - 1
    peaks = peaks[np.argsort(-envelope[peaks])][:2]
    rest_sd = level[envelope < np.median(envelope)].std()
    rows, cuts = [], []
    margin = 2e-3 * (rails[1] - rails[0])
    railed = (volts <= rails[0] + margin) | (volts >= rails[1] - margin)
    for peak in peaks:
        below = np.flatnonzero(envelope < 0.2 * envelope[peak])
        first = below[below < peak].max(initial=-1) + 1
        last = below[below > peak].min(initial=len(level))
        part = level[first:last]
        swing = np.ptp(part)
        turns = sum(len(find_peaks(sign * part, prominence=0.15 * swing)[0]) for sign in (1, -1))
        power = np.abs(np.fft.rfft(part - part.mean(), 4096)) ** 2
        hertz = np.fft.rfftfreq(4096, 1 / rate)
        power, hertz = power[hertz <= 20], hertz[hertz <= 20]
        share = power / power.sum()
        ends = sorted((abs(part.min()), abs(part.max())))
        raw = slice(int(first / rate * fs), int(last / rate * fs))
        rows.append(
            {
                "span_s": (last - first) / rate,
                "peak_to_peak": swing,
                "over_rest": swing / (4 * rest_sd),
                "turns": float(turns),
                "strokes": ends[0] / ends[1],
                "at_rail": railed[raw].mean(),
                "below_3": share[hertz < 3].sum(),
                "from_3_to_6": share[(hertz >= 3) & (hertz < 6)].sum(),
                "above_6": share[hertz >= 6].sum(),
                "centroid_hz": share @ hertz,
            }
        )
        half = int((HALF_S + SHIFT_S) * rate)
        at = np.clip(np.arange(peak - half, peak + half + 1), 0, len(level) - 1)
        cuts.append((level[at], envelope[at]))
    if len(cuts) == 2:
        for name, which in (("waveform", 0), ("envelope", 1)):
            value = _likeness(cuts[0][which], cuts[1][which], rate)
            for row in rows:
                row[name] = value
    return rows
