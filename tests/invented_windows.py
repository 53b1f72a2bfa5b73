"""Invented gait windows with known classes: no signal, no detector."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.gait.windows import GAIT_FEATURES, WINDOW_COLUMNS

USUAL = {
    "stride_time": (1.1, 0.05),
    "response_log_ratio": (0.0, 30.0),
    "stride_time_cv": (2.2, 0.5),
    "step_time_log_ratio": (0.0, 4.0),
    "stance_fraction": (62.0, 1.0),
    "swing_time_log_ratio": (0.0, 4.0),
    "phase_coordination_index": (4.0, 1.0),
    "relative_phase_deviation": (0.0, 3.0),
    "waveform_difference": (0.05, 0.01),
    "swing_peak_timing": (72.0, 1.0),
    "swing_peak_timing_difference": (0.0, 1.0),
    "swing_width": (26.0, 1.0),
    "swing_width_difference": (0.0, 1.0),
    "swing_lean": (0.0, 0.03),
    "swing_lean_difference": (0.0, 0.04),
    "loading_wave": (0.15, 0.04),
    "loading_wave_difference": (0.0, 0.04),
    "stance_level_difference": (0.0, 0.04),
    "shape_variability": (0.04, 0.005),
    "shape_variability_difference": (0.0, 0.005),
    "range_of_motion": (58.0, 4.0),
    "range_of_motion_log_ratio": (0.0, 7.0),
    "swing_peak": (60.0, 4.0),
    "swing_peak_difference": (0.0, 4.0),
}
# What a limp on the left adds, in units of the spread above; on the right, odd features change sign.
LIMP = {
    "step_time_log_ratio": -5.0,
    "swing_time_log_ratio": -4.0,
    "phase_coordination_index": 6.0,
    "waveform_difference": 5.0,
    "swing_peak_timing_difference": 4.0,
    "shape_variability_difference": -4.0,
    "shape_variability": 3.0,
    "range_of_motion_log_ratio": 6.0,
    "range_of_motion": -2.0,
    "swing_peak_difference": 5.0,
    "response_log_ratio": 2.0,
}
ODD = {s.name for s in GAIT_FEATURES if s.mirror == "odd"}
BOTH = [s.name for s in GAIT_FEATURES if s.knees == "both"]
DEGREES = [s.name for s in GAIT_FEATURES if s.group == "amplitude"]


def draws(seed: int, whose: str, count: int):
    """Normal values of each feature from a stream of its own: one more feature leaves the others as they are."""
    return {f: np.random.default_rng([seed, *f"{whose} {f}".encode()]).standard_normal(count) for f in USUAL}


def recording(
    name: str, person: str, parts: list[tuple[str, str | None]], *, seed: int, adds=LIMP, habits: float = 0.5
):
    """Windows, states and labels of one recording: rest, then a walk of parts of 20 s each, then rest.

    ``habits`` is how far a person lies from the usual, in units of the spread; at 0 they are like the mean of all.
    """
    noises = draws(seed, name, 20 * len(parts))
    habit = {f: habits * float(own[0]) for f, own in draws(seed, person, 1).items()}
    rows, labels = [], [("rest", 0.0, 5.0, None)]
    for k, (word, side) in enumerate(parts):
        start = 5.0 + 20.0 * k
        labels.append((word, start, 20.0, side))
        for onset in np.arange(start, start + 20.0, 1.1):
            row = {"onset": onset, "duration": 6.6, "time": onset + 3.3, "knees": "both", "strides": 6}
            if row["onset"] + row["duration"] > 5.0 + 20.0 * len(parts):
                break
            for f, (mean, spread) in USUAL.items():
                shift = adds.get(f, 0.0) if word == "limping_gait" else 0.0
                if side == "right" and f in ODD:
                    shift = -shift
                noise = habit[f] + 0.6 * noises[f][len(rows)]
                row[f] = mean + spread * ((-noise if f in ODD else noise) + shift)
            rows.append(row)
    end = 5.0 + 20.0 * len(parts)
    labels.append(("rest", end, 5.0, None))
    windows = pd.DataFrame(rows)[[*WINDOW_COLUMNS, *USUAL]]
    windows.insert(0, "recording_id", name)
    windows["participant_id"] = person
    states = pd.DataFrame(
        {
            "recording_id": name,
            "onset": [0.0, 5.0, end],
            "duration": [5.0, end - 5.0, 5.0],
            "trial_type": ["rest", "gait", "rest"],
            "walk": [-1, 0, -1],
        }
    )
    sheet = pd.DataFrame(labels, columns=["trial_type", "onset", "duration", "side"])
    return windows, states, sheet[["onset", "duration", "trial_type", "side"]]


def cohort(people: int = 8, *, seed: int = 0, adds=LIMP, sides: tuple[str, ...] = ("left", "right")):
    """Half the people limp, on one side or the other, one of them for part of the time; the others do not."""
    parts = []
    for k in range(people):
        person = f"sub-{k + 1:02d}"
        side = sides[(k // 2) % len(sides)]
        limp = ("limping_gait", side)
        script = [limp, limp] if k % 2 == 0 else [("normal_gait", None)] * 2
        if k == 0:
            script = [limp, ("normal_gait", None)]
        parts.append(recording(f"{person}_walk", person, script, seed=seed, adds=adds))
    windows = pd.concat([p[0] for p in parts], ignore_index=True)
    states = pd.concat([p[1] for p in parts], ignore_index=True)
    labels = {p[0]["recording_id"].iloc[0]: p[2] for p in parts}
    return windows, states, labels, pd.DataFrame({"participant_id": sorted(set(windows["participant_id"]))})


QUICK = ClassifyParameters(
    families=("logistic_regression",), permutations=19, bootstrap_resamples=200, label_next_rows=10
)


@pytest.fixture
def quick():
    return QUICK


@pytest.fixture
def make_cohort():
    return cohort


@pytest.fixture
def make_recording():
    return recording


@pytest.fixture(scope="session")
def study():
    return cohort()


@pytest.fixture(scope="session")
def trained(study):
    from strainstudy.gait.training import train_states

    return train_states(*study, QUICK)
