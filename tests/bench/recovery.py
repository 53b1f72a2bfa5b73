"""Simulated benches with known answers: how far the bench figures are off, and how often their intervals are right.

``python tests/bench/recovery.py docs/bench-recovery.md`` writes the table; test_recovery.py runs a small part.
The truths are the simulator's own parameters where it has them (delay, time constants, noise) and otherwise
the definitions applied by hand to its answer without noise, delay or response time, sampled finely.
"""

from __future__ import annotations

import sys
import time
import warnings
import zlib
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd
from strainstudy.bench.characterise import BenchRecording, characterise
from strainstudy_simulator.bench import Cycles, Hold, Program, run_stage
from strainstudy_simulator.sensor import SensorModel, resistance

FIGURES = (
    "gauge_factor", "linearity", "linearity_least_squares", "hysteresis", "response_time", "recovery_time",
    "creep_time_1", "noise_floor", "detection_limit", "lag",
)  # fmt: skip
FULL = 0.30


@dataclass(frozen=True)
class Cell:
    """One simulated bench: sensor, noise (share of full scale), sampling, delay."""

    name: str
    sensor: SensorModel
    noise: float = 0.003
    fs: float = 100.0
    lag_s: float = 0.04
    hold_s: float = 30.0
    program: Program = field(default=())

    def programme(self) -> Program:
        """Rest, seven full cycles, rest, three steps up and down."""
        return (
            Hold(0.0, 0.0, 5.0),
            Cycles(FULL, 8.0, 7),
            Hold(0.0, 0.0, 5.0),
            *(Hold(level, 0.1, self.hold_s) for level in (FULL, 0.0) * 3),
        )


BASE = SensorModel(
    gauge_factor=5.0,
    curvature=0.2,
    hysteresis_percent=6.0,
    full_scale_strain=FULL,
    response_time_s=0.05,
    relaxation=((0.05, 5.0),),
)
CELLS = (
    *(Cell(f"gauge factor {g:g}", replace(BASE, gauge_factor=g)) for g in (2.0, 10.0, 50.0)),
    *(Cell(f"hysteresis {h:g} %", replace(BASE, hysteresis_percent=h)) for h in (0.0, 10.0, 20.0)),
    *(Cell(f"response {r:g} s", replace(BASE, response_time_s=r)) for r in (0.02, 0.2, 0.5)),
    *(
        Cell(f"creep {c:g} s", replace(BASE, relaxation=((0.05, c),)), hold_s=max(30.0, 2.0 * c))
        for c in (1.0, 10.0, 20.0)
    ),
    *(Cell(f"noise {100 * n:g} % of full scale", BASE, noise=n) for n in (0.0005, 0.01, 0.03)),
    *(Cell(f"{fs:g} Hz", replace(BASE, response_time_s=0.1), fs=fs) for fs in (20.0, 50.0, 250.0, 1000.0)),
    *(Cell(f"delay {d:g} s", BASE, lag_s=d) for d in (-0.1, 0.15)),
    Cell("curved", replace(BASE, curvature=1.5)),
)


def span_of(sensor: SensorModel) -> float:
    """Response at full scale of a static sensor."""
    b = sensor.curvature
    return float(sensor.gauge_factor * (np.expm1(b * FULL) / b if b else FULL))


def simulate(cell: Cell, seed: int) -> BenchRecording:
    rng = np.random.default_rng(np.random.SeedSequence([zlib.crc32(cell.name.encode()), seed]))
    run = run_stage(cell.programme(), cell.fs, rng, lag_s=cell.lag_s)
    ohm = resistance(run.strain, cell.fs, cell.sensor, rng)
    noise = cell.noise * span_of(cell.sensor) * rng.standard_normal(ohm.size)
    return BenchRecording("r", "stretch", ohm / cell.sensor.rest_ohm - 1 + noise, cell.fs, run.reference_percent / 100)


def truth(cell: Cell) -> dict[str, float]:
    """Definitions applied by hand to cycles 2 to 7 of the answer without noise, delay or response time."""
    fs = 400.0
    rng = np.random.default_rng(0)
    run = run_stage(cell.programme(), fs, rng, reference_noise_percent=0.0)
    response = resistance(run.strain, fs, replace(cell.sensor, response_time_s=0.0), rng) / cell.sensor.rest_ohm - 1
    grid = np.linspace(0.0, FULL, 3001)
    ups, downs = [], []
    for cycle in range(1, 7):
        start, top, stop = (round((5.0 + 8.0 * (cycle + k)) * fs) for k in (0.0, 0.5, 1.0))
        ups.append(np.interp(grid, run.strain[start : top + 1], response[start : top + 1]))
        downs.append(np.interp(grid, run.strain[top : stop + 1][::-1], response[top : stop + 1][::-1]))
    up, down = np.mean(ups, axis=0), np.mean(downs, axis=0)
    middle = 0.5 * (up + down)
    span = middle[-1] - middle[0]
    line = np.polyval(np.polyfit(grid, middle, 1), grid)
    terminal = middle[0] + span * grid / FULL
    first = grid <= FULL / 4
    noise = cell.noise * span_of(cell.sensor)
    return {
        "gauge_factor": float(np.polyfit(grid, middle, 1)[0]),
        "linearity": float(100 * np.max(np.abs(middle - terminal)) / span),
        "linearity_least_squares": float(100 * np.max(np.abs(middle - line)) / span),
        "hysteresis": float(100 * np.max(np.abs(up - down)) / span),
        "response_time": float(np.log(9) * cell.sensor.response_time_s),
        "recovery_time": float(np.log(9) * cell.sensor.response_time_s),
        "creep_time_1": cell.sensor.relaxation[0][1],
        "noise_floor": noise,
        "detection_limit": float(300 * noise / np.polyfit(grid[first], middle[first], 1)[0]),
        "lag": cell.lag_s + cell.sensor.response_time_s,
    }


def recover(cells: tuple[Cell, ...], repeats: int) -> pd.DataFrame:
    """One row per cell, repeat and figure: truth, value, covered (NaN without an interval)."""
    rows = []
    for cell in cells:
        true = truth(cell)
        for seed in range(repeats):
            row = characterise([simulate(cell, seed)]).row
            for name in FIGURES:
                value, low, high = (float(row[name + end]) for end in ("", "_low", "_high"))
                covered = float(low <= true[name] <= high) if np.isfinite(low) else np.nan
                rows.append((cell.name, name, true[name], value, covered))
    return pd.DataFrame(rows, columns=["cell", "figure", "truth", "value", "covered"])


def summary(found: pd.DataFrame) -> pd.DataFrame:
    """Bias, spread and coverage by cell and figure."""
    grouped = found.groupby(["figure", "cell"], sort=False)
    table = grouped.agg(truth=("truth", "first"), mean=("value", "mean"), sd=("value", "std"), n=("covered", "count"))
    table["bias"] = table["mean"] - table["truth"]
    table["coverage"] = grouped["covered"].mean()
    return table.reset_index()


def markdown(found: pd.DataFrame, repeats: int) -> str:
    pooled = found.groupby("figure", sort=False)["covered"].agg(["mean", "count"])
    lines = [
        "# Recovery of bench figures from simulated benches", "",
        f"Written by `python tests/bench/recovery.py`: {found['cell'].nunique()} benches of known properties, "
        f"{repeats} runs each. Per run: 7 triangle cycles of 8 s to 30 % strain (6 used), three steps up and down with "
        "holds. Coverage: share of the 95 % intervals that hold the truth. The truth of creep and response "
        "times, delay and noise is the simulator's parameter; of the others the definition applied to the noise-free "
        "answer.", "",
        "| figure | coverage over all benches | intervals |", "|---|---|---|",
    ]  # fmt: skip
    lines += [f"| {name} | {100 * row['mean']:.1f} % | {row['count']:.0f} |" for name, row in pooled.iterrows()]
    for name, part in summary(found).groupby("figure", sort=False):
        lines += [
            "",
            f"## {name}",
            "",
            "| bench | truth | mean | bias | SD | coverage | intervals |",
            "|---|" + "---|" * 6,
        ]
        lines += [
            f"| {r['cell']} | {r['truth']:.4g} | {r['mean']:.4g} | {r['bias']:+.2g} | {r['sd']:.2g} | "
            f"{100 * r['coverage']:.0f} % | {r['n']:.0f} |"
            for _, r in part.iterrows()
        ]  # fmt: skip
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 25
    begun = time.perf_counter()
    result = recover(CELLS, runs)
    Path(sys.argv[1]).write_text(markdown(result, runs), encoding="utf-8")
    print(f"{len(CELLS)} benches x {runs} runs in {time.perf_counter() - begun:.0f} s")
