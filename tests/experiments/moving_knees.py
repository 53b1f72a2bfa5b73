"""Bends, steps and stillness of knees that nobody simulated: what is found, as one table.

    python tests/experiments/moving_knees.py REAL_BENDS [REAL_WALKS]

REAL_BENDS is a study folder with labelled knee bends, and with `exercise_segments.tsv` where sessions of exercise are
in it; REAL_WALKS one of walks with contacts. Recordings go through ingest, calibrate, condition and segment as in a
run. What is derived from them: bends set one after another without the pauses between them; a still knee (sway, noise,
drift, the other knee's echo) beside each bending one; walks said to be `free`. Run in two checkouts it tells before
from after.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from experiments.in_process import run_to_segments
from scipy.signal import butter, sosfilt
from strainstudy.bends.parameters import BendParameters
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.gait.parameters import GaitParameters
from strainstudy.io.frames import read_frame
from strainstudy.io.store import Trace, read_recording
from strainstudy.stages.segment import segment_recording
from strainstudy.stats.matching import match_centres
from strainstudy.study import load_study
from strainstudy_simulator.gaits import Gait, Leg
from strainstudy_simulator.knee import Segment, correlated_noise, walk_knees

__all__ = ["STILL_DEG", "bends_and_stillness", "beside", "in_a_row", "main", "segmented", "spans", "stiff_walks"]

NEAR_S = 1.0
"""Centres of a labelled and a found bend lie within this."""
STILL_DEG = (1.0, 5.0)
STILL_EVERY = 3
"""Still knees are set beside one bending knee in so many."""
LONGEST_PAUSE_S = (0.0, 0.6)
SPEEDS = (1.0, 1.3)
FS = 100.0


def segmented(task: str, knees: Mapping[str, np.ndarray], fs: float, units: str) -> dict[str, pd.DataFrame]:
    """Condition and cut the curves of one or both knees."""
    traces = {}
    for side, curve in knees.items():
        point = f"{side}_knee"
        clean = condition_trace(curve, fs, tracked_point=point, units=units, parameters=ConditionParameters())
        nothing = np.full(curve.size, np.nan)
        angle = clean.response if units == "deg" else nothing
        columns = {"response": clean.response, "angle": angle, "angle_low": nothing, "angle_high": nothing}
        traces[point] = Trace("derived", point, units, fs, columns, 0.0)
    frames, _ = segment_recording(task, traces, GaitParameters(), BendParameters(), lag_s=0.0)
    return frames


def gait_share(states: pd.DataFrame) -> float:
    """Share of the time called gait, turns included."""
    walked = states.loc[states["trial_type"].isin(("gait", "turn")), "duration"].sum()
    return float(walked / states["duration"].sum())


def spans(rows: pd.DataFrame) -> np.ndarray:
    onset = rows["onset"].to_numpy(float)
    return np.column_stack([onset, onset + rows["duration"].to_numpy(float)])


class Tally:
    """Counts of bends and seconds of one kind of recording."""

    def __init__(self) -> None:
        self.recordings = self.labelled = self.found = self.matched = 0
        self.seconds = self.gait_s = 0.0

    def add(self, truth: np.ndarray, found: np.ndarray, states: pd.DataFrame | None, seconds: float) -> None:
        self.recordings += 1
        self.labelled += len(truth)
        self.found += len(found)
        self.matched += len(match_centres(truth, found, NEAR_S).reference)
        self.seconds += seconds
        self.gait_s += 0.0 if states is None else gait_share(states) * seconds

    def line(self, name: str) -> str:
        f1 = f"{2 * self.matched / (self.labelled + self.found):.3f}" if self.labelled else "-"
        return (
            f"| {name} | {self.recordings} | {self.seconds / 60:.1f} | {self.labelled} | {self.found} | {f1} | "
            f"{100 * self.gait_s / self.seconds:.1f} |"
        )


HEADER = (
    "| what | recordings | minutes | labelled | found | F1 (centres within 1 s) | % of the time called gait |",
    "|---|---|---|---|---|---|---|",
)


def in_a_row(
    curve: np.ndarray, fs: float, labels: pd.DataFrame, pause_s: float, speed: float
) -> tuple[np.ndarray, np.ndarray]:
    """Set labelled bends one after another, from rest to rest, with a pause between them.

    Returns
    -------
    curve, spans : ndarray
        The new curve, and where the bends are in it.
    """
    parts, truth, at = [np.zeros(int(3 * fs))], [], int(3 * fs)
    for row in labels.sort_values("onset").itertuples():
        centre, reach = row.onset + row.duration / 2, row.duration + 0.15
        part = curve[max(0, int((centre - reach) * fs)) : int((centre + reach + 0.2) * fs)]
        part = part - np.interp(np.arange(part.size), [0, part.size - 1], [part[0], part[-1]])
        middle = at + (centre - max(0.0, centre - reach)) * fs
        truth.append((middle - 0.5 * row.duration * fs, middle + 0.5 * row.duration * fs))
        pause = np.zeros(int(pause_s * fs))
        parts += [part, pause]
        at += part.size + pause.size
    parts.append(np.zeros(int(3 * fs)))
    whole = np.concatenate(parts)
    quick = np.interp(np.arange(0, whole.size - 1, speed), np.arange(whole.size), whole)
    quick = quick + 0.005 * np.ptp(quick) * np.random.default_rng(0).standard_normal(quick.size)
    return quick, np.array(truth) / fs / speed


def beside(curve_deg: np.ndarray, fs: float, size_deg: float, seed: int) -> Iterator[tuple[str, np.ndarray]]:
    """Make still knees beside a bending one: noise, sway, a slow sine, drift, and an echo of the other.

    ``size_deg`` is the standard deviation of noise and sway, the height of the rest.
    """
    n, rng = curve_deg.size, np.random.default_rng(seed)
    time = np.arange(n) / fs
    band = sosfilt(butter(2, (0.05, 2.0), "bandpass", fs=fs, output="sos"), rng.standard_normal(n + int(20 * fs)))
    sway = band[int(20 * fs) :]
    yield "white noise", size_deg * rng.standard_normal(n)
    yield "1/f noise", size_deg * correlated_noise(n, rng, slope=1.0)
    yield "sway", size_deg * sway / sway.std()
    yield "slow sine", 0.5 * size_deg * np.sin(2 * np.pi * 0.25 * time) + 0.1 * rng.standard_normal(n)
    yield "drift", size_deg * np.sin(2 * np.pi * time / 90.0 + rng.uniform(0, 6)) + 0.1 * rng.standard_normal(n)
    yield "echo", size_deg / 100.0 * curve_deg + 0.1 * rng.standard_normal(n)


def stiff_walks() -> Iterator[tuple[str, dict[str, np.ndarray]]]:
    """Walks with a knee whose swing wave is a tenth and which is bent through stance; the other's wave is large."""
    for stride in (1.1, 1.5, 2.0):
        for least, loading, swing in ((10, 14, 16), (15, 25, 21), (20, 28, 26), (25, 35, 30)):
            stiff = Leg(swing_peak_deg=swing, loading_deg=loading, minimum_deg=least, contact_dip_deg=1.0)
            gait = Gait(stride_time_s=stride, step_phase=0.42, left=stiff, right=Leg(swing_peak_deg=90.0))
            script = [Segment("rest", 4.0), Segment("walk", 35.0, gait), Segment("rest", 4.0)]
            yield f"{stride} s {least}", dict(walk_knees(script, FS, np.random.default_rng(least)).angles)


def _kind(recording: str, units: str) -> str:
    if units != "deg":
        return "sleeve"
    return "goniometer, walking" if "walk" in recording else "goniometer, bending"


def bends_and_stillness(
    root: Path, place: Path, say: Callable[[str], None], *, still_every: int = STILL_EVERY
) -> dict[str, pd.DataFrame]:
    """Say what is found in a study folder of bends, and beside one bending knee in so many; give the states found."""
    study = load_study(root)
    labels = run_to_segments(study, place)
    bends, states = read_frame(place / "knee_bends.parquet"), read_frame(place / "states.parquet")
    exercise = root / "exercise_segments.tsv"
    sessions = pd.read_csv(exercise, sep="\t") if exercise.is_file() else None
    tallies: dict[str, Tally] = {}
    still: dict[str, list[float]] = {}
    bending = 0
    for name in sorted(study.recordings):
        traces = read_recording(place / "signals.parquet", name, ("response", "angle", "reference_angle"))
        own, seen = bends[bends["recording_id"] == name], states[states["recording_id"] == name]
        if sessions is not None and (sessions["recording_id"] == name).any():
            continue
        (trace,) = traces.values()
        fs, curve = trace.sampling_frequency, trace["response"]
        sheet = labels.get(name, pd.DataFrame({"onset": [], "duration": [], "trial_type": []}))
        truth = sheet[sheet["trial_type"] == "knee_bend"]
        kind = _kind(name, trace.units)
        tallies.setdefault(kind, Tally()).add(spans(truth), spans(own), seen, trace.n / fs)
        if "walk" in name:
            found = segmented("free", {"left": curve}, fs, "deg")
            tallies.setdefault("goniometer, walking, said to be free", Tally()).add(
                np.empty((0, 2)), spans(found["knee_bends"]), found["states"], trace.n / fs
            )
            continue
        for pause in LONGEST_PAUSE_S:
            for speed in SPEEDS:
                row, marks = in_a_row(curve, fs, truth, pause, speed)
                found = segmented("free", {"left": row}, fs, "a.u." if kind == "sleeve" else "deg")
                tallies.setdefault(f"{kind.split(',')[0]}, in a row", Tally()).add(
                    marks, spans(found["knee_bends"]), found["states"], row.size / fs
                )
        bending += 1
        if bending % still_every != 1 % still_every:
            continue
        angle = trace["angle"] if trace.units == "deg" else trace["reference_angle"]
        angle = np.nan_to_num(angle - np.nanquantile(angle, 0.05))
        for size in STILL_DEG:
            for word, quiet in beside(angle, fs, size, len(still)):
                for units in ("deg", "a.u."):
                    for task in ("bend", "free"):
                        found = segmented(task, {"left": angle, "right": quiet}, fs, units)["knee_bends"]
                        false = int((found["side"] == "right").sum())
                        still.setdefault(f"{word}, {size:g} deg, in {units}, said to be {task}", []).append(false)
                        still.setdefault("seconds", []).append(quiet.size / fs)
    for line in HEADER:
        say(line)
    for kind in sorted(tallies):
        say(tallies[kind].line(kind))
    say("")
    say("| the other knee, still | bends claimed a minute |")
    say("|---|---|")
    seconds = sum(still.pop("seconds", [0.0])) / max(len(still), 1)
    for word, counts in still.items():
        say(f"| {word} | {sum(counts) / seconds * 60:.2f} |")
    if sessions is not None:
        _sessions(sessions, bends, states, say)
    return dict(iter(states.groupby("recording_id")))


def _sessions(sessions: pd.DataFrame, bends: pd.DataFrame, states: pd.DataFrame, say: Callable[[str], None]) -> None:
    say("")
    say("| session | what | seconds | called gait, % | bends found (both knees) |")
    say("|---|---|---|---|---|")
    for row in sessions.itertuples():
        seen, own = (frame[frame["recording_id"] == row.recording_id] for frame in (states, bends))
        walked = seen[seen["trial_type"].isin(("gait", "turn"))]
        shared = np.minimum(walked["onset"] + walked["duration"], row.end) - np.maximum(walked["onset"], row.onset)
        share = 100 * shared.clip(lower=0).sum() / (row.end - row.onset)
        inside = (own["onset"] + own["duration"] / 2).between(row.onset, row.end).sum()
        say(f"| {row.recording_id} | {row.what} | {row.end - row.onset:.1f} | {share:.0f} | {inside} |")


def _walks(root: Path, say: Callable[[str], None]) -> None:
    say("")
    say("| recorded walks | called gait, % of the gait labelled | bends claimed |")
    say("|---|---|---|")
    sheet = pd.read_csv(root / "recordings.tsv", sep="\t", dtype=str)
    for task in ("walk", "free"):
        for sides in (("left", "right"), ("left",), ("right",)):
            shared = labelled = 0.0
            claimed = 0
            for row in sheet.itertuples():
                raw = pd.read_csv(root / row.file)
                knees = {side: raw[f"{side}_knee_deg"].to_numpy(float) for side in sides}
                found = segmented(task, knees, float(row.sampling_frequency), "deg")
                (path,) = (root / "labels" / row.recording_id).glob("*_events.tsv")
                truth = pd.read_csv(path, sep="\t")
                time = np.arange(0.0, len(raw) / float(row.sampling_frequency), 0.01)
                inside, called = (
                    ((time[:, None] >= part[:, 0]) & (time[:, None] < part[:, 1])).any(axis=1)
                    for part in (
                        spans(truth[truth["trial_type"].isin(("normal_gait", "limping_gait"))]),
                        spans(found["states"][found["states"]["trial_type"].isin(("gait", "turn"))]),
                    )
                )
                labelled += inside.sum()
                shared += (inside & called).sum()
                claimed += len(found.get("knee_bends", ()))
            say(f"| {' and '.join(sides)}, said to be {task} | {100 * shared / labelled:.1f} | {claimed} |")


def main(bends: Path, walks: Path | None, say: Callable[[str], None] = print) -> None:
    """Print the tables.

    Parameters
    ----------
    bends, walks : Path
        Study folders.
    say : callable
        Takes each line.
    """
    with tempfile.TemporaryDirectory() as place:
        bends_and_stillness(bends, Path(place), say)
    if walks is not None:
        _walks(walks, say)
    say("")
    say("| simulated stroke walk, both knees | called gait, % of 35 s of 43 |")
    say("|---|---|")
    for name, knees in stiff_walks():
        shares = [100 * gait_share(segmented(task, knees, FS, "a.u.")["states"]) for task in ("walk", "free")]
        say(f"| {name} | {shares[0]:.0f} (walk), {shares[1]:.0f} (free) |")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None)
