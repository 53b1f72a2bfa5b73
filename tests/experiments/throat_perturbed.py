"""Film over the larynx under other circumstances: slow movements beside the acts, other converters, noise, cuts.

In: nothing but seeds. Out: a page: how often two swallows are found, and none in coughs, at rest and in speech, when
one thing about the simulated recordings of `throat_film` is not as it was. Each recording is alone in its session.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.signal import butter, resample_poly, sosfilt

sys.path.insert(0, str(Path(__file__).parents[1]))

from experiments.throat_film import KINDS, PARAMETERS, SWALLOWS, other_world
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.condition.trace import condition_trace
from strainstudy.signal.quality import assess_channel, smallest_step
from strainstudy.swallow.candidates import detect_together
from strainstudy.swallow.generic import accept_generic
from strainstudy_simulator.film import FILM_ACTS, FILM_KINDS, Film, FilmAct, FilmPerson, film_recording

EACH = 3
SEED = 11
LEFT_OUT_SEEDS, LEFT_OUT_WORLDS = (201, 202, 203, 204, 205, 206), range(21, 31)
SLOW_MOVEMENTS = ("as it is", "hump before", "hump between", "posture before", "posture between")
Array = np.ndarray


class Given(NamedTuple):
    """Volts as stored, their rate, onset and end of the first and of the second act, and a generator."""

    volts: Array
    fs: float
    first: tuple[float, float]
    second: tuple[float, float]
    rng: np.random.Generator

    @property
    def time(self) -> Array:
        """Seconds from the first sample."""
        return np.arange(len(self.volts)) / self.fs


def _hump(given: Given, at: float, seconds: float = 1.6, size: float = 1.2) -> tuple[Array, float]:
    u = np.clip((given.time - at) / seconds, 0, 1)
    return given.volts + size * np.sin(np.pi * u) ** 2, given.fs


def _posture(given: Given, at: float, seconds: float = 0.5, size: float = 1.0) -> tuple[Array, float]:
    return given.volts + size * np.clip((given.time - at) / seconds, 0, 1), given.fs


def _between(given: Given, seconds: float) -> float:
    return (given.first[1] + given.second[0] - seconds) / 2


def _added(wave: Callable[[Given], Array]) -> Callable[[Given], tuple[Array, float]]:
    return lambda given: (given.volts + wave(given), given.fs)


def _at_rate(up: int, down: int) -> Callable[[Given], tuple[Array, float]]:
    return lambda given: (resample_poly(given.volts, up, down, padtype="line"), given.fs * up / down)


def _slow_noise(given: Given) -> Array:
    hertz = np.fft.rfftfreq(len(given.volts), 1 / given.fs)
    noise = np.fft.rfft(given.rng.standard_normal(len(given.volts)))
    noise[(hertz < 0.05) | (hertz > 0.25)] = 0
    wave = np.fft.irfft(noise, len(given.volts))
    return 0.4 * wave / wave.std()


def _spikes(given: Given) -> tuple[Array, float]:
    volts = given.volts.copy()
    volts[given.rng.integers(0, len(volts), 6)] = 5.0
    return volts, given.fs


def _gap(given: Given) -> tuple[Array, float]:
    start = given.first[1] + 0.6
    return np.where((given.time >= start) & (given.time < start + 0.4), np.nan, given.volts), given.fs


CASES: Mapping[str, Callable[[Given], tuple[Array, float]]] = {
    "as it is": lambda given: (given.volts, given.fs),
    "hump before": lambda given: _hump(given, given.first[0] - 2.2),
    "hump between": lambda given: _hump(given, _between(given, 1.6)),
    "posture before": lambda given: _posture(given, given.first[0] - 1.5),
    "posture between": lambda given: _posture(given, _between(given, 0.5)),
    "steps of 0.3 V within the acts": lambda given: _posture(
        given._replace(volts=_posture(given, given.first[0] + 0.6, 0.01, 0.3)[0]), given.second[0] + 0.6, 0.01, 0.3
    ),
    "50 Hz": _at_rate(5, 192),
    "100 Hz": _at_rate(5, 96),
    "250 Hz": _at_rate(25, 192),
    "hum of 0.3 V": _added(lambda given: 0.3 * np.sin(2 * np.pi * 50.03 * given.time)),
    "8 bits": lambda given: (np.round(given.volts * 256 / 5) * 5 / 256, given.fs),
    "7 bits, other unit, turned over": lambda given: (-1e4 * np.round(given.volts * 128 / 5) * 5 / 128 + 777, given.fs),
    "level wanders by 0.4 V": _added(_slow_noise),
    "level drifts by 1.5 V": _added(lambda given: 1.5 * given.time / given.time[-1]),
    "level settles from 1.5 V": _added(lambda given: 1.5 * np.exp(-given.time / 1.5)),
    "breathing of 0.15 V": _added(lambda given: 0.15 * np.sin(2 * np.pi * 0.27 * given.time)),
    "noise of 0.1 V": _added(lambda given: 0.1 * given.rng.standard_normal(len(given.volts))),
    "rail at 0.4 V": lambda given: (np.maximum(given.volts, 0.4), given.fs),
    "high-pass at 0.5 Hz": lambda given: (
        sosfilt(butter(1, 0.5, "highpass", fs=given.fs, output="sos"), given.volts - given.volts[0]),
        given.fs,
    ),
    "six spikes": _spikes,
    "starts 0.25 s before the first": lambda given: (given.volts[given.time >= given.first[0] - 0.25], given.fs),
    "ends 0.3 s after the second": lambda given: (given.volts[given.time < given.second[1] + 0.3], given.fs),
    "0.4 s missing": _gap,
}


def swallows_found(volts: Array, fs: float) -> int:
    """Condition as a recording without a bridge is, and count the swallows found without labels."""
    quality = assess_channel(volts, fs, dead_s=1.0)
    done = condition_trace(volts, fs, tracked_point="throat", units="a.u.", parameters=ConditionParameters())
    steps = np.diff(volts)
    step = smallest_step(steps[np.isfinite(steps)]) or np.inf
    (found,) = detect_together([(done.response, fs)], PARAMETERS, [step], [quality.clipped / fs])
    return int(accept_generic(found, PARAMETERS).sum())


def right(
    seed: int,
    each: int,
    cases: Sequence[str],
    library: Mapping[str, FilmAct] = FILM_ACTS,
    film: Film | None = None,
) -> pd.DataFrame:
    """Say of each recording whether the count is right: columns case, kind, right."""
    rows = []
    base = Film() if film is None else film
    for k, kind in enumerate(FILM_KINDS):
        for number in range(each):
            rng = np.random.default_rng([seed, number, k])
            person = FilmPerson.drawn(rng)
            worn = replace(base, polarity=1 if number % 2 else -1)
            volts, truth = film_recording(kind, worn, person, rng, library=library)
            ends = [(event.onset, event.onset + event.duration) for event in truth] or [(4.0, 5.0), (9.0, 10.0)]
            for case in cases:
                given = Given(volts, worn.fs, ends[0], ends[-1], np.random.default_rng([seed, number]))
                count = swallows_found(*CASES[case](given))
                rows.append({"case": case, "kind": kind, "right": count == (2 if kind in SWALLOWS else 0)})
    return pd.DataFrame(rows)


def _lines(table: pd.DataFrame, cases: Sequence[str]) -> list[str]:
    shares = table.pivot_table(index="case", columns="kind", values="right", aggfunc="mean")
    return [f"| {case} | " + " | ".join(f"{shares.loc[case, kind]:.2f}" for kind in KINDS) + " |" for case in cases]


def left_out(worlds: Sequence[tuple[int, dict]]) -> list[str]:
    """Rows of slow movements over seeds and their worlds: three recordings a kind as they are, one changed."""
    tables = [right(seed, 3, SLOW_MOVEMENTS[:1], **world) for seed, world in worlds]
    tables += [right(seed, 1, SLOW_MOVEMENTS[1:], **world) for seed, world in worlds]
    return _lines(pd.concat(tables), SLOW_MOVEMENTS)


def page(command: str) -> list[str]:
    """Lines of the page."""
    head = ["| | dry | water | head moving | cough | rest | speech |", "|---|---|---|---|---|---|---|"]
    lines = [
        "# Swallows under a film when something is different",
        "",
        f"`{command}`: recordings of the simulated film",
        "(`strainstudy_simulator.film`, 14.5 s, two acts in each but rest), each alone in its session, with one thing",
        "changed. Shares of recordings in which exactly two swallows are found (none in coughs, at rest and in",
        "speech). No labels. A hump is one smooth rise and fall of 1.2 V in 1.6 s, half a burst's size, and ends 0.6 s",
        "before the first act or lies midway; posture moves the level by 1 V in 0.5 s, for good. At rest they come",
        "where an act might be.",
        "",
        f"## One thing at a time, {EACH} recordings a kind",
        "",
        *head,
        *_lines(right(SEED, EACH, list(CASES)), list(CASES)),
        "",
        "## Slow movements, seeds and worlds left out",
        "",
        f"Seeds {LEFT_OUT_SEEDS[0]} to {LEFT_OUT_SEEDS[-1]}, one recording a kind each and three as they are, were",
        "looked at once, after all limits had been set.",
        "",
        *head,
        *left_out([(seed, {}) for seed in LEFT_OUT_SEEDS]),
        "",
        f"The same for worlds {LEFT_OUT_WORLDS[0]} to {LEFT_OUT_WORLDS[-1]}, with all parameters moved by up to 30 %.",
        "",
        *head,
    ]
    moved = [
        (number, dict(zip(("library", "film"), other_world(np.random.default_rng(number)), strict=True)))
        for number in LEFT_OUT_WORLDS
    ]
    return [*lines, *left_out(moved)]


def main() -> None:
    """Write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("page", type=Path)
    options = parser.parse_args()
    lines = page(f"python tests/experiments/throat_perturbed.py {options.page}")
    options.page.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
