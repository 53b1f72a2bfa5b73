"""People who label: a little early, a little late, sometimes not at all, and not always of one mind.

In: true events. Out: events as a rater would have marked them while watching a video beside the trace.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from strainstudy.vocabulary import CONFOUNDERS, INSTANTS, STATES

from .truth import Event, in_order

__all__ = ["RATERS", "Rater", "label", "only_within"]


@dataclass(frozen=True)
class Rater:
    """How one person labels; seconds are standard deviations, the rest probabilities.

    Contacts scatter by one to two video frames, swallow bounds by a tenth of a second, borders of states by
    less than a step (common practice, no source).
    """

    name: str
    contact_s: float = 0.024
    contact_bias_s: float = 0.0
    toe_off_s: float = 0.030
    state_s: float = 0.20
    swallow_s: float = 0.08
    bend_s: float = 0.12
    other_s: float = 0.20
    instant_missed: float = 0.012
    instant_invented: float = 0.003
    swallow_missed: float = 0.015
    swallow_invented: float = 0.004
    other_missed: float = 0.03
    turn_overlooked: float = 0.05
    limp_doubted: float = 0.0


RATERS = (
    Rater("rater1"),
    Rater(
        "rater2",
        contact_s=0.034,
        contact_bias_s=0.012,
        toe_off_s=0.040,
        state_s=0.30,
        instant_missed=0.025,
        swallow_missed=0.03,
        other_missed=0.06,
        turn_overlooked=0.15,
        limp_doubted=0.06,
    ),
)


def _normal(rng: np.random.Generator, sd: float) -> float:
    return sd * float(np.clip(rng.standard_normal(), -3, 3))


def _instants(events: Sequence[Event], rater: Rater, end: float, rng: np.random.Generator) -> list[Event]:
    marks = []
    for e in events:
        missed, invented = rng.random() < rater.instant_missed, rng.random() < rater.instant_invented
        if e.trial_type == "initial_contact":
            shift = rater.contact_bias_s + _normal(rng, rater.contact_s)
        else:
            shift = _normal(rng, rater.toe_off_s)
        if not missed:
            marks.append(replace(e, onset=float(np.clip(e.onset + shift, 0, end))))
        if invented:
            marks.append(replace(e, onset=float(np.clip(e.onset + rng.uniform(0.25, 0.4), 0, end))))
    return marks


def _states(events: Sequence[Event], rater: Rater, rng: np.random.Generator) -> list[Event]:
    named: list[Event] = []
    for k, e in enumerate(events):
        overlooked, doubted = rng.random() < rater.turn_overlooked, rng.random() < rater.limp_doubted
        if e.trial_type == "turn" and overlooked and k and named[-1].trial_type.endswith("gait"):
            e = replace(e, trial_type=named[-1].trial_type, side=named[-1].side)
        elif e.trial_type == "limping_gait" and doubted:
            e = replace(e, trial_type="normal_gait", side=None)
        before = named[-1] if named else None
        if before and (before.trial_type, before.side) == (e.trial_type, e.side):
            named[-1] = replace(before, duration=e.end - before.onset)
        else:
            named.append(e)
    borders = [e.onset for e in named[1:]]
    moved = [t + _normal(rng, rater.state_s) for t in borders]
    edges = [named[0].onset, *moved, named[-1].end] if named else []
    # A border stays well inside its two neighbours, or the order of states would change.
    for k in range(1, len(edges) - 1):
        room = 0.4 * min(named[k - 1].duration, named[k].duration)
        edges[k] = float(np.clip(edges[k], borders[k - 1] - room, borders[k - 1] + room))
    return [
        replace(e, onset=low, duration=high - low) for e, low, high in zip(named, edges[:-1], edges[1:], strict=True)
    ]


def _interval(e: Event, sd: float, end: float, rng: np.random.Generator) -> Event:
    onset = float(np.clip(e.onset + _normal(rng, sd), 0, end - 0.1))
    stop = float(np.clip(e.end + _normal(rng, sd), onset + 0.1, end))
    return replace(e, onset=onset, duration=stop - onset)


def label(truth: Sequence[Event], rater: Rater, seconds: float, rng: np.random.Generator) -> tuple[Event, ...]:
    """Label a recording.

    Parameters
    ----------
    truth : sequence of Event
    rater : Rater
    seconds : float
        Length of the recording; no mark lies outside.
    rng : Generator

    Returns
    -------
    tuple of Event
    """
    ordered = in_order(truth)
    marks = _instants([e for e in ordered if e.trial_type in INSTANTS], rater, seconds, rng)
    marks += _states([e for e in ordered if e.trial_type in STATES], rater, rng)
    for e in ordered:
        if e.trial_type == "swallow":
            missed, invented = rng.random() < rater.swallow_missed, rng.random() < rater.swallow_invented
            marked = _interval(e, rater.swallow_s, seconds, rng)
            if not missed:
                marks.append(marked)
            if invented and e.end + 3.5 < seconds:
                marks.append(replace(marked, onset=e.end + rng.uniform(1.5, 2.5), duration=0.8))
        elif e.trial_type == "knee_bend":
            marks.append(_interval(e, rater.bend_s, seconds, rng))
        elif e.trial_type in CONFOUNDERS:
            missed = rng.random() < rater.other_missed
            marked = _interval(e, rater.other_s, seconds, rng)
            if not missed:
                marks.append(marked)
    return in_order(marks)


def only_within(marks: Sequence[Event], low: float, high: float) -> tuple[Event, ...]:
    """Keep what a rater marked who looked at one span only, and say which span it was."""
    kept = [Event(low, high - low, "labelled")]
    for e in marks:
        if e.duration == 0:
            if low <= e.onset <= high:
                kept.append(e)
        elif e.end > low and e.onset < high:
            onset = max(e.onset, low)
            kept.append(replace(e, onset=onset, duration=min(e.end, high) - onset))
    return in_order(kept)
