"""Make the figures of docs/method-gait.md: how a walk is read, and where the method breaks.

    python docs/figures/gait_figures.py

Simulated walks are always used. Where STRAINSTUDY_REAL_WALKS names the folder of recorded walks (Pearl et al. 2022,
doi 10.21203/rs.3.rs-1902381/v1), they are swept too and the hardest recording is drawn.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from strainstudy.gait import GaitParameters, detect_walk
from strainstudy.gait.swings import PATTERN_DEG
from strainstudy.signal.filters import lowpass
from strainstudy.stats.matching import match_instants
from strainstudy_simulator.gaits import Gait, healthy_gait, limp, turning
from strainstudy_simulator.knee import Segment, walk_knees

FloatArray = NDArray[np.float64]
HERE = Path(__file__).resolve().parent
SIDES = ("left", "right")
COLOURS = {"left": "#1f5fa8", "right": "#b3432b"}
STATES = {"rest": "#9aa5ad", "gait": "#cfe3c6", "turn": "#e8c46a", "other": "#e3e3e3"}
TOLERANCE_S = 0.1
BREAK = 0.95
P = GaitParameters()


@dataclass(frozen=True)
class Known:
    """Knee curves with true contacts of each side; spans that are scored (all when empty)."""

    knees: Mapping[str, FloatArray]
    fs: float
    contacts: Mapping[str, FloatArray]
    spans: FloatArray


def simulated(gait: Gait, seed: int, seconds: float = 40.0) -> Known:
    """Walk a simulated person for a while between two rests."""
    script = [Segment("rest", 3.0), Segment("walk", seconds, gait), Segment("rest", 3.0)]
    motion = walk_knees(script, 100.0, np.random.default_rng(seed))
    contacts = {
        side: np.array([e.onset for e in motion.truth if e.trial_type == "initial_contact" and e.side == side])
        for side in SIDES
    }
    return Known(dict(motion.angles), 100.0, contacts, np.zeros((0, 2)))


def people(stride_time: float | None = None) -> list[Known]:
    """Three healthy and three limping simulated people."""
    found = []
    for seed in range(6):
        gait = healthy_gait(np.random.default_rng(seed), stride_time_s=stride_time)
        if seed % 2:
            gait = limp(gait, SIDES[seed // 2 % 2], ("stiff", "timing", "both")[seed // 2], 0.6)
        found.append(simulated(gait, seed))
    return found


def recorded(name: str, folder: Path) -> Known:
    """Read one recorded walk."""
    raw = pd.read_csv(folder / "raw" / f"{name}.csv")
    (labels,) = (folder / "labels" / name).glob("*_events.tsv")
    rows = pd.read_csv(labels, sep="\t")
    spans = rows[rows["trial_type"] == "labelled"]
    knees = {side: lowpass(raw[f"{side}_knee_deg"].to_numpy(float), 100.0, 6.0) for side in SIDES}
    contacts = {
        side: rows.loc[(rows["trial_type"] == "initial_contact") & (rows["side"] == side), "onset"].to_numpy(float)
        for side in SIDES
    }
    return Known(knees, 100.0, contacts, np.column_stack([spans["onset"], spans["onset"] + spans["duration"]]))


def amplitude(x: FloatArray) -> float:
    """Range of the bulk of a curve."""
    return float(np.ptp(np.quantile(x, [0.02, 0.98])))


def f1(
    walks: list[Known], change: Callable[[Known, np.random.Generator], tuple[Mapping[str, FloatArray], float]]
) -> float:
    """Pooled F1 of the contacts of changed walks."""
    hits = surplus = missed = 0
    for number, known in enumerate(walks):
        knees, fs = change(known, np.random.default_rng(number))
        events = detect_walk(knees, fs, P).events
        contacts = events[events["trial_type"] == "initial_contact"]
        for side in SIDES:
            found = contacts.loc[contacts["side"] == side, "onset"].to_numpy(float)
            match = match_instants(known.contacts[side], found, TOLERANCE_S)
            counted = np.ones(found.size, dtype=bool)
            if known.spans.size:
                inside = (found[:, None] >= known.spans[:, 0]) & (found[:, None] <= known.spans[:, 1])
                counted = inside.any(axis=1)
                counted[match.estimate] = True
            hits += len(match)
            surplus += int(counted.sum()) - len(match)
            missed += known.contacts[side].size - len(match)
    return 2 * hits / (2 * hits + surplus + missed)


def noisy(level: float) -> Callable[[Known, np.random.Generator], tuple[dict[str, FloatArray], float]]:
    """Add white noise of a part of each knee's amplitude."""

    def change(known: Known, rng: np.random.Generator) -> tuple[dict[str, FloatArray], float]:
        return {
            side: x + level * amplitude(x) * rng.standard_normal(x.size) for side, x in known.knees.items()
        }, known.fs

    return change


def weaker(ratio: float) -> Callable[[Known, np.random.Generator], tuple[dict[str, FloatArray], float]]:
    """Make the left sensor weaker, with the same noise on both: 2 % of the right knee's amplitude."""

    def change(known: Known, rng: np.random.Generator) -> tuple[dict[str, FloatArray], float]:
        noise = 0.02 * amplitude(known.knees["right"])
        gains = {"left": ratio, "right": 1.0}
        return {
            side: gains[side] * x + noise * rng.standard_normal(x.size) for side, x in known.knees.items()
        }, known.fs

    return change


def sampled(fs: float) -> Callable[[Known, np.random.Generator], tuple[dict[str, FloatArray], float]]:
    """Sample at another rate, below the knee's band without an anti-alias filter, as a slow logger does."""

    def change(known: Known, _: np.random.Generator) -> tuple[dict[str, FloatArray], float]:
        n = known.knees["left"].size
        time = np.arange(int((n - 1) / known.fs * fs) + 1) / fs
        return {side: CubicSpline(np.arange(n) / known.fs, x)(time) for side, x in known.knees.items()}, fs

    return change


def unchanged(known: Known, _: np.random.Generator) -> tuple[Mapping[str, FloatArray], float]:
    """Leave a walk as it is."""
    return known.knees, known.fs


def draw(ax: Axes, values: FloatArray, scores: Mapping[str, list[float]], title: str, unit: str, worse: str) -> str:
    """Draw one sweep and say where it breaks."""
    ends = []
    for (label, line), style in zip(scores.items(), ("-o", "--s"), strict=False):
        ax.plot(values, line, style, ms=3.5, lw=1.2, label=label)
        ordered = list(zip(values, line, strict=True))
        good = [value for value, score in ordered if score >= BREAK]
        if worse == "up":
            broken = [value for value, score in ordered if score < BREAK and value > max(good)]
            ends.append(f"{label}: {f'{min(broken):g}' if broken else f'beyond {max(values):g}'}")
        else:
            broken = [value for value, score in ordered if score < BREAK and value < min(good)]
            ends.append(f"{label}: {f'{max(broken):g}' if broken else f'below {min(values):g}'}")
    ax.axhline(BREAK, color="0.6", lw=0.8, ls=":")
    ax.set(xlabel=f"{title} ({unit})", ylim=(0, 1.03))
    ax.set_title("F1 falls below 0.95 at " + "; ".join(ends), fontsize=8)
    return f"{title} ({unit}): " + "; ".join(ends)


def sweep(folder: Path | None) -> None:
    """Draw F1 against noise, gain, stride rate and sampling rate."""
    walks = {"simulated": people()}
    if folder is not None:
        walks["recorded"] = [recorded(f"0{k}-{kind}-a", folder) for k in range(1, 5) for kind in ("normal", "limp")]
    figure, axes = plt.subplots(2, 2, figsize=(9.5, 6.2), layout="constrained")
    noise = np.array([0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 0.8])
    gain = np.array([1.0, 0.5, 0.3, 0.2, 0.15, 0.1, 0.07, 0.05, 0.03, 0.02])
    rate = np.array([0.25, 0.3, 0.35, 0.4, 0.5, 0.7, 0.9, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6])
    sampling = np.array([5.0, 6.0, 8.0, 10.0, 12.5, 15.0, 20.0, 25.0, 50.0, 100.0, 200.0, 1000.0])
    said = [
        draw(
            axes[0, 0], 100 * noise, {n: [f1(w, noisy(v)) for v in noise] for n, w in walks.items()},
            "white noise", "% of the knee's amplitude, SD", "up",
        ),
        draw(
            axes[0, 1], gain, {n: [f1(w, weaker(v)) for v in gain] for n, w in walks.items()},
            "gain of the left sensor", "of the right, noise 2 % of the right", "down",
        ),
        draw(
            axes[1, 1], sampling, {n: [f1(w, sampled(v)) for v in sampling] for n, w in walks.items()},
            "sampling rate", "Hz", "down",
        ),
    ]  # fmt: skip
    by_rate = {"simulated": [f1(people(1.0 / v), unchanged) for v in rate]}
    slow = rate <= 0.9
    draw(axes[1, 0], rate[slow], {"simulated": list(np.array(by_rate["simulated"])[slow])}, "", "", "down")
    low = axes[1, 0].get_title()
    axes[1, 0].clear()
    said.append(draw(axes[1, 0], rate, by_rate, "stride rate", "1/s", "up"))
    high = axes[1, 0].get_title().split("at ")[-1]
    axes[1, 0].set_title(f"{low} and {high}", fontsize=8)
    for ax in (axes[0, 1], axes[1, 1]):
        ax.set_xscale("log")
    axes[0, 0].legend(frameon=False, fontsize=8)
    for ax in axes[:, 0]:
        ax.set_ylabel("F1 of contacts within 0.1 s")
    figure.savefig(HERE / "gait-sweep.png", dpi=110, metadata={"Software": None})
    sys.stdout.write("\n".join([*said, low]) + "\n")


def example() -> None:
    """Draw a walk with a stiff knee, a turn and a short rest, and what is found in it."""
    gait = limp(Gait(), "left", "stiff", 0.45)
    script = [
        Segment("rest", 2.0), Segment("walk", 12.0, gait), Segment("turn", 3.5, turning(gait, "left")),
        Segment("walk", 12.0, gait), Segment("rest", 1.2), Segment("walk", 6.0, gait), Segment("rest", 2.0),
    ]  # fmt: skip
    motion = walk_knees(script, 100.0, np.random.default_rng(4))
    walk = detect_walk(motion.angles, 100.0, P)
    figure, ax = plt.subplots(figsize=(11, 3.6), layout="constrained")
    for row in walk.states.itertuples():
        ax.axvspan(
            row.onset, row.onset + row.duration, color=STATES[row.trial_type], alpha=0.6 if row.steady else 0.35, lw=0
        )
    time = np.arange(motion.angles["left"].size) / 100.0
    for side, lift in (("left", 0.0), ("right", 75.0)):
        curve = motion.angles[side] + lift
        ax.plot(time, curve, color=COLOURS[side], lw=1.1, label=f"{side} knee")
        for kind, marker in (("initial_contact", "o"), ("toe_off", "^")):
            rows = walk.events[(walk.events["side"] == side) & (walk.events["trial_type"] == kind)]
            ax.plot(rows["onset"], np.interp(rows["onset"], time, curve), marker, color="k", ms=4, mfc="w")
    ax.plot([], [], "ko", ms=4, mfc="w", label="initial contact")
    ax.plot([], [], "k^", ms=4, mfc="w", label="toe-off")
    for name, colour in STATES.items():
        ax.fill_between([], [], color=colour, alpha=0.6, label=name)
    ax.set(xlabel="time (s)", ylabel="knee flexion (deg), right lifted by 75", xlim=(0, time[-1]), ylim=(-8, 150))
    ax.legend(ncol=8, frameon=False, fontsize=8, loc="upper center")
    figure.savefig(HERE / "gait-example.png", dpi=110, metadata={"Software": None})


def landmarks() -> None:
    """Draw the published knee curve with the landmarks that are read from it."""
    cycle = np.linspace(0, 100, PATTERN_DEG.size)
    twice = np.tile(PATTERN_DEG[:-1], 30)
    fs = 50.0 / 1.1
    walk = detect_walk({"left": twice, "right": np.roll(twice, 25)}, fs, P)
    row = walk.strides[(walk.strides["side"] == "left") & walk.strides["steady"]].iloc[3]
    figure, ax = plt.subplots(figsize=(5.4, 3.2), layout="constrained")
    ax.plot(cycle, PATTERN_DEG, color="0.3")
    start = (row["onset"] / 1.1 + 0.5) % 1.0 - 0.5
    for name, at in (
        ("initial contact", start),
        ("toe-off", (row["toe_off"] / 1.1) % 1.0),
        ("swing peak", (row["swing_peak_time"] / 1.1) % 1.0),
    ):
        place = 100 * at % 100 if at > 0.02 else 100 * at
        ax.axvline(place, color="#b3432b", lw=0.9)
        ax.text(place - 0.5, 64, f"{name} {place:.0f} %", rotation=90, va="top", ha="right", fontsize=8)
    ax.set(xlabel="% of the cycle from initial contact", ylabel="knee flexion (deg)", xlim=(-6, 100), ylim=(0, 66))
    figure.savefig(HERE / "gait-landmarks.png", dpi=110, metadata={"Software": None})


def hardest(folder: Path) -> None:
    """Draw the recording whose stiff knee agrees least with the force plate."""
    known = recorded("01-limp-b", folder)
    events = detect_walk(known.knees, known.fs, P).events
    contacts = events.loc[(events["side"] == "left") & (events["trial_type"] == "initial_contact"), "onset"]
    time = np.arange(known.knees["left"].size) / known.fs
    figure, ax = plt.subplots(figsize=(11, 2.8), layout="constrained")
    ax.plot(time, known.knees["left"], color=COLOURS["left"], lw=1.1)
    for values, marker, label in ((contacts, "o", "found"), (known.contacts["left"], "x", "force plate (50 N)")):
        ax.plot(values, np.interp(values, time, known.knees["left"]), f"k{marker}", ms=5, mfc="none", label=label)
    ax.set(xlabel="time (s)", ylabel="left knee flexion (deg)", xlim=(29, 47))
    ax.legend(ncol=2, frameon=False, fontsize=8)
    figure.savefig(HERE / "gait-hardest.png", dpi=110, metadata={"Software": None})


def main() -> None:
    """Make all figures."""
    place = os.environ.get("STRAINSTUDY_REAL_WALKS")
    folder = Path(place) if place else None
    example()
    landmarks()
    if folder is not None:
        hardest(folder)
    sweep(folder)


if __name__ == "__main__":
    main()
