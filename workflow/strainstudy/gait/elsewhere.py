"""What is said of rows that a model decided which no label of this study taught: who taught it, what is unlike here.

In: the card of that model, the rows of this study. Out: words. A card may say under ``elsewhere`` how the model is
called (``name``), who its people were (``told``), which units their knees were recorded in (``units``), from which age
on (``age_from``), on what they walked (``walkway``) and what to say of one knee (``one_knee``); what a card does not
say is not compared.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from ..records import Participant, Recording
from ..vocabulary import GAIT_STATES, RESPONSE_UNITS, SIDE_OF_POINT

__all__ = ["RULE_DECIDES", "disputed", "rule_beside", "trained_words", "unlike"]

RULE_DECIDES = "the published rule decides"
_SAYS = {state: f"the published rule says {state.replace('_', ' ')}" for state in GAIT_STATES}
LIMPING = GAIT_STATES[1]


def trained_words(card: Mapping[str, Any]) -> str:
    """Say where a model was trained, and on whom as far as its card tells."""
    told = card.get("elsewhere", {}).get("told")
    people = card.get("data", {}).get("participants")
    if told is None and people is not None:
        told = f"{people} participants of another study"
    return "trained elsewhere" + (f": {told}" if told else "")


def _knee_units(recording: Recording) -> set[str]:
    """Units of the knees as gait is taken from them: an angle beside a sensor of the same knee is its reference."""
    knees = [c for c in recording.channels if c.tracked_point in SIDE_OF_POINT and c.status != "bad"]
    strain = {c.tracked_point for c in knees if c.units in RESPONSE_UNITS}
    return {c.units for c in knees if c.units in RESPONSE_UNITS or c.tracked_point not in strain}


def unlike(
    card: Mapping[str, Any], recordings: Iterable[Recording], participants: Mapping[str, Participant]
) -> dict[str, str]:
    """Say of every recording in what it is outside of what a model was trained on; those without a word are inside.

    Parameters
    ----------
    card : mapping
        Of the model.
    recordings : iterable of Recording
    participants : mapping of participant_id to Participant

    Returns
    -------
    dict of recording_id to str
    """
    known = card.get("elsewhere", {})
    units, age_from, walkway = known.get("units"), known.get("age_from"), known.get("walkway")
    found = {}
    for recording in recordings:
        said = []
        person = participants.get(recording.participant_id or "")
        if age_from is not None and person is not None and person.age is not None and person.age < age_from:
            said.append(f"a person of {person.age:g} years, trained on people from {age_from:g} years on")
        other = _knee_units(recording) - set(units or ())
        if units is not None and other:
            said.append(f"knees recorded in {', '.join(sorted(other))}, trained on {', '.join(units)}")
        if walkway is not None and recording.walkway not in (None, walkway):
            said.append(f"walked {recording.walkway}, trained on a {walkway}")
        if said:
            found[recording.recording_id] = "; ".join(said)
    return found


def disputed(bouts: pd.DataFrame) -> pd.DataFrame:
    """Say in ``caution`` of bouts where the published rule beside them says otherwise."""
    other = bouts["trained"].notna() & bouts["rule_trial_type"].notna() & bouts["trial_type"].isin(GAIT_STATES)
    other &= bouts["rule_trial_type"] != bouts["trial_type"]
    said = [
        "; ".join([*([caution] if isinstance(caution, str) else []), _SAYS[rule]]) if apart else caution
        for caution, rule, apart in zip(bouts["caution"], bouts["rule_trial_type"], other, strict=True)
    ]
    return bouts.assign(caution=pd.Series(said, index=bouts.index, dtype=object))


def rule_beside(spans: pd.DataFrame, ruled: pd.DataFrame) -> pd.DataFrame:
    """Say what the published rule calls each span.

    Parameters
    ----------
    spans : DataFrame
        ``recording_id, onset, duration``.
    ruled : DataFrame
        Bouts by the rule alone (`state_bouts.BOUT_COLUMNS`).

    Returns
    -------
    DataFrame
        With the index of ``spans``: ``rule_limping_share``, the part of what the rule calls gait, normal or limping,
        that it calls limping; ``rule_trial_type``, the state of the larger part; ``rule_limping_side``, the side that
        the rule gives most of that limping. All missing where the rule calls nothing so.
    """
    gait = ruled[ruled["trial_type"].isin(GAIT_STATES)]
    by_recording = {str(name): own for name, own in gait.groupby("recording_id", sort=False)}
    share = np.full(len(spans), np.nan)
    words, sides = (np.full(len(spans), None, dtype=object) for _ in range(2))
    rows = zip(spans["recording_id"], spans["onset"], spans["duration"], strict=True)
    for at, (name, onset, duration) in enumerate(rows):
        own = by_recording.get(str(name))
        if own is None:
            continue
        start = own["onset"].to_numpy(dtype=float)
        seconds = np.minimum(start + own["duration"].to_numpy(dtype=float), onset + duration) - np.maximum(start, onset)
        seconds = np.maximum(seconds, 0.0)
        if not seconds.sum() > 0:
            continue
        limping = (own["trial_type"] == LIMPING).to_numpy()
        share[at] = float(seconds[limping].sum() / seconds.sum())
        words[at] = GAIT_STATES[int(share[at] >= 0.5)]
        if words[at] == LIMPING:
            each = pd.Series(seconds[limping]).groupby(own["limping_side"].to_numpy(dtype=object)[limping]).sum()
            sides[at] = None if each.empty else str(each.idxmax())
    return pd.DataFrame(
        {"rule_trial_type": words, "rule_limping_share": share, "rule_limping_side": sides}, index=spans.index
    )
