"""Gait and swallows measured where the classifier has them: tables of bouts, strides, gait, events, swallows."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ..calibrate.anglemap import AngleMap
from ..calibrate.maps import MapKey, maps_from_json
from ..calibrate.referencemap import ReferenceMap
from ..errors import counted
from ..gait.landmark_errors import (
    CELLS,
    FORCE_PLATES,
    PeopleErrors,
    Row,
    errors_by_state,
    errors_for,
    with_measurement_error,
    with_persistence,
)
from ..gait.mean_curves import CURVE_COLUMNS
from ..gait.parameters import GaitParameters
from ..gait.verdict import VERDICT_COLUMNS, VerdictParameters, sensor_or_gait
from ..io.frames import read_frame, read_frames, read_json
from ..jobs import Progress
from ..learn.threads import processes, spread
from ..records import Participant, Recording
from ..swallow.measures import measure_swallows, summarise_swallows
from ..swallow.parameters import SwallowParameters
from ..tables import Column, TableSpec, read_table, write_table, write_typed
from ..tables.classifier import BESIDE, BOUTS, LABEL_NEXT, RULE_SHARE, RULE_SIDE, RULE_STATE, TRAINED
from ..tables.curves import CURVES
from ..tables.events import EVENTS, STRIDES
from ..tables.families import PREDICTION, WHO
from ..tables.gait import ANSWERS, ERRORS, GAIT
from ..tables.sensors import SENSOR_HEALTH
from ..tables.swallows import SWALLOW_SUMMARY, SWALLOWS
from ..vocabulary import GAIT_STATES, KNEES, SIDES
from .bodies import sensor_of
from .walk_evidence import angle_error, walk_evidence
from .walks import MeasuredWalk, WalkToMeasure, measure_walks

__all__ = ["BATCH_INPUTS", "TYPED", "run", "state_of"]

TYPED = ("events", "bouts", "gait", "curves", "swallow_summary")
BATCH_INPUTS = ("signals", "maps", "events", "strides", "knee_bends", "segment_notes")


def _with_who(
    frame: pd.DataFrame, recordings: Sequence[Recording], participants: Mapping[str, Participant]
) -> pd.DataFrame:
    person = frame["recording_id"].map({r.recording_id: r.participant_id for r in recordings})
    return frame.assign(
        participant_id=person,
        session_id=frame["recording_id"].map({r.recording_id: r.session_id for r in recordings}),
        group=person.map({name: p.group for name, p in participants.items()}),
    )


def state_of(strides: pd.DataFrame, bouts: pd.DataFrame, column: str = "trial_type") -> pd.Series:
    """Name the state of the bout that holds the middle of each stride, or what another column says of that bout.

    Parameters
    ----------
    strides : DataFrame
        ``recording_id``, ``onset``, ``stride_time``.
    bouts : DataFrame
        ``recording_id``, ``onset``, ``duration``, and the column.
    column : str
        What to take of the bout.

    Returns
    -------
    Series of object
        Index of ``strides``; None outside every bout.
    """
    states = np.full(len(strides), None, dtype=object)
    ordered = bouts.sort_values("onset", kind="stable")
    onset, end = ordered["onset"].to_numpy(), (ordered["onset"] + ordered["duration"]).to_numpy()
    words = ordered[column].to_numpy(dtype=object)
    middle = (strides["onset"] + strides["stride_time"] / 2).to_numpy()
    spans = ordered.groupby("recording_id", sort=False).indices
    for recording, own in strides.groupby("recording_id", sort=False).indices.items():
        if recording not in spans:
            continue
        mine = spans[recording]
        at = mine[np.clip(np.searchsorted(onset[mine], middle[own], side="right") - 1, 0, len(mine) - 1)]
        inside = (middle[own] >= onset[at]) & (middle[own] < end[at])
        states[own[inside]] = words[at[inside]]
    return pd.Series(states, index=strides.index)


def _beside(
    strides: pd.DataFrame, bouts: pd.DataFrame, ruled: pd.DataFrame
) -> tuple[bool, Callable[[pd.DataFrame], pd.DataFrame]]:
    """Set what the published rule says beside strides, and give what does so for rows of a recording and gait state.

    Both leave frames as they are where no model decided that was trained elsewhere.
    """
    if "trained" not in bouts:
        return False, lambda frame: frame
    strides["trained"] = state_of(strides, bouts, "trained")
    strides["rule_trial_type"] = state_of(strides, ruled)
    known = strides[strides["rule_trial_type"].isin(GAIT_STATES)]
    keys = ["recording_id", "trial_type"]
    share = (known["rule_trial_type"] == GAIT_STATES[1]).astype(float).groupby([known[k] for k in keys]).mean()
    trained = strides.dropna(subset=["trained"]).groupby(keys)["trained"].first()

    def beside(frame: pd.DataFrame) -> pd.DataFrame:
        at = pd.MultiIndex.from_frame(frame[keys])
        return frame.assign(
            trained=trained.reindex(at).to_numpy(dtype=object), rule_limping_share=share.reindex(at).to_numpy(float)
        )

    return True, beside


def _gait_rows(
    recording: Recording,
    strides: pd.DataFrame,
    measured: Mapping[str, Row],
    answers: Mapping[str, Any],
    maps: Mapping[str, AngleMap | ReferenceMap],
    flagged: Sequence[str],
    labelled: Mapping[str, PeopleErrors],
    gait: GaitParameters,
    verdict: VerdictParameters,
) -> list[dict[str, Any]]:
    """One row of gait measures and a verdict for each gait state of a recording."""
    rows = []
    for state, measures in measured.items():
        own = strides[strides["trial_type"] == state]
        answer = math.hypot(*(answer["error"] or 0.0 for answer in answers.values()))
        # Labels of this study hold what the answers of its sensors do to contacts; force plates do not.
        plates = replace(FORCE_PLATES, difference_s=math.hypot(FORCE_PLATES.difference_s, answer))
        row = with_measurement_error(
            with_persistence(measures, gait.stride_persistence),
            own,
            errors_for(recording.participant_id, state, labelled, plates),
            angles={side: angle_error(entry) for side, entry in maps.items()},
        )
        limping = state == "limping_gait"
        evidence = walk_evidence(row, own, maps, flagged, limping=limping, parameters=verdict)
        judged = sensor_or_gait(evidence, verdict)
        for side in SIDES:
            undone = answers.get(side, {})
            row[f"answer_time_{side}"] = undone.get("time_constant")
            row[f"answer_time_source_{side}"] = undone.get("source")
        # a recording is decided as a whole
        made_by = {"prediction": own["prediction"].iloc[0]}
        rows.append({"recording_id": recording.recording_id, "trial_type": state, **row, **made_by, **judged.columns})
    return rows


def _measured(
    recordings: Sequence[Recording],
    strides: Mapping[str, pd.DataFrame],
    notes: Mapping[str, Mapping[str, Any]],
    batches: Mapping[str, Sequence[str]],
    signals: Mapping[str, Path],
    gait: GaitParameters,
    reference_rater: str | None,
) -> tuple[dict[str, MeasuredWalk], pd.DataFrame]:
    """Measure each walk by itself, and its contacts and toe-offs against the reference rater's labels."""
    walks = {
        recording.recording_id: WalkToMeasure(
            recording.recording_id,
            recording.participant_id,
            strides[recording.recording_id],
            {side: entry["sign"] for side, entry in notes[recording.recording_id]["polarity"].items()},
            recording.labels.get(reference_rater or ""),
        )
        for recording in recordings
        if recording.recording_id in strides
    }
    jobs = [
        (signals[batch], [walks[name] for name in members if name in walks], gait) for batch, members in batches.items()
    ]
    parts = spread(measure_walks, [job for job in jobs if job[1]])
    cells = [cells for _, cells in parts if len(cells)]
    return {name: walk for found, _ in parts for name, walk in found.items()}, (
        pd.concat(cells, ignore_index=True) if cells else pd.DataFrame(columns=list(CELLS))
    )


def _maps_of(recording: Recording, maps: Mapping[MapKey, Any]) -> dict[str, AngleMap | ReferenceMap]:
    found = {}
    for side in SIDES:
        sensor_id = sensor_of(recording, KNEES[side])
        entry = maps.get(MapKey.of(recording.participant_id, recording.session_id, KNEES[side], sensor_id))
        if isinstance(entry, AngleMap | ReferenceMap):
            found[side] = entry
    return found


def _event_rows(events: pd.DataFrame, bends: pd.DataFrame, swallows: pd.DataFrame) -> pd.DataFrame:
    parts = [
        events.assign(prediction="rule"),
        bends.assign(trial_type="knee_bend", value=bends["angle"], prediction="rule"),
        swallows.assign(trial_type="swallow", side=None, value=np.nan),
    ]
    filled = [EVENTS.of(part, [PREDICTION]) for part in parts if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else EVENTS.empty([PREDICTION])


def _swallow_tables(
    recordings: Sequence[Recording],
    candidates: pd.DataFrame,
    notes: Mapping[str, Mapping[str, Any]],
    parameters: SwallowParameters,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Measure the accepted swallows, and summarise each recording with a throat."""
    taken = candidates["accepted"].astype(bool)
    accepted = candidates[taken]
    accepted = accepted.assign(score=accepted["probability"].fillna(accepted["score"]))
    rejected = candidates[~taken]
    swallows_of, others_of = (dict(iter(part.groupby("recording_id", sort=False))) for part in (accepted, rejected))
    first = candidates.drop_duplicates("recording_id")
    decided_by = dict(zip(first["recording_id"], first["prediction"], strict=True))
    measured, summaries = [], []
    for recording in recordings:
        seconds, observed = (notes[recording.recording_id][name] for name in ("throat_s", "observed_throat_s"))
        if seconds is None:
            continue
        name = recording.recording_id
        own = measure_swallows(swallows_of.get(name, accepted.iloc[:0]), parameters)
        measured.append(own)
        summary = summarise_swallows(
            own,
            observed,
            parameters,
            volume_ml=recording.volume_ml,
            duration_s=seconds,
            others=others_of.get(name, rejected.iloc[:0]),
        )
        summaries.append({"recording_id": name, **summary, "prediction": decided_by.get(name)})
    filled = [frame for frame in measured if len(frame)]
    swallows = pd.concat(filled, ignore_index=True) if filled else SWALLOWS.empty().assign(probability=np.nan)
    return swallows, pd.DataFrame(summaries) if summaries else SWALLOW_SUMMARY.empty()


def run(
    recordings: Sequence[Recording],
    participants: Mapping[str, Participant],
    *,
    gait: GaitParameters,
    swallow: SwallowParameters,
    verdict: VerdictParameters,
    batches: Mapping[str, Sequence[str]],
    inputs: Mapping[str, Mapping[str, Path]],
    decisions: Mapping[str, Path],
    typed: Mapping[str, Path],
    results: Path,
    progress: Progress,
    reference_rater: str | None = None,
    threads: int = 1,
) -> None:
    """Write the tables that rest on the classifier.

    Parameters
    ----------
    recordings : sequence of Recording
        All of the study.
    participants : mapping of str to Participant
    gait, swallow, verdict : parameters
    batches : mapping of batch to sequence of recording_id
    inputs : mapping of `BATCH_INPUTS` to mapping of batch to Path
        What the stages before left.
    decisions : mapping of str to Path
        ``bouts``, ``rule_bouts``, ``candidates``, ``label_next`` of classify.
    typed : mapping of `TYPED` to Path
        Tables as Parquet, for validation.
    results : Path
        Results folder; ``tables/sensor_health.tsv`` and ``tables/recordings.tsv`` are there already.
    progress : Progress
    reference_rater : str, optional
        Whose labelled contacts and toe-offs tell the error of the found ones; None: that of force plates is taken.
    threads : int
        Processes that measure walks; their number changes no result.
    """
    with processes(threads):
        notes = {key: value for path in inputs["segment_notes"].values() for key, value in read_json(path).items()}
        bouts = read_frame(decisions["bouts"])
        strides = read_frames(inputs["strides"].values())
        strides["trial_type"] = state_of(strides, bouts)
        strides["prediction"] = state_of(strides, bouts, "prediction")
        beside, beside_walks = _beside(strides, bouts, read_frame(decisions["rule_bouts"]))
        of_recording = {str(name): own for name, own in strides.groupby("recording_id", sort=False)}
        measured, cells = _measured(recordings, of_recording, notes, batches, inputs["signals"], gait, reference_rater)
    maps = {
        key: value
        for path in inputs["maps"].values()
        for key, value in maps_from_json(path.read_text(encoding="utf-8")).items()
    }
    health = read_table(results, SENSOR_HEALTH)
    flagged = health[health["flagged"].fillna(value=False).astype(bool)]
    uses = flagged[["sensor_id", "participant_id", "session_id"]].itertuples(index=False)
    outside = {(sensor, person, session) for sensor, person, session in uses}

    labelled = errors_by_state(cells)
    rows: list[dict[str, Any]] = []
    curves = [pd.DataFrame(columns=["recording_id", *CURVE_COLUMNS])]
    for recording in recordings:
        name = recording.recording_id
        if name not in measured:
            continue
        used = {sensor_of(recording, KNEES[side]) for side in SIDES}
        rows += _gait_rows(
            recording,
            of_recording[name],
            measured[name].rows,
            notes[name]["answers"],
            _maps_of(recording, maps),
            sorted(
                sensor
                for sensor in used
                if sensor is not None and (sensor, recording.participant_id, recording.session_id) in outside
            ),
            labelled,
            gait,
            verdict,
        )
        curves.append(measured[name].curves.assign(recording_id=name))

    def keep(name: str, frame: pd.DataFrame, spec: TableSpec, extra: Sequence[Column] = ()) -> None:
        write_table(frame, spec, results, extra)
        if name in typed:
            write_typed(frame, spec, typed[name], extra)

    extra = [*ANSWERS, *ERRORS, PREDICTION, *VERDICT_COLUMNS]
    of_walks = [TRAINED, RULE_SHARE] if beside else []
    gait_table = beside_walks(pd.DataFrame(rows) if rows else GAIT.empty(extra))
    keep("gait", _with_who(gait_table, recordings, participants), GAIT, [*extra, *WHO, *of_walks])
    filled = [frame for frame in curves if len(frame)]
    curve_table = CURVES.of(pd.concat(filled, ignore_index=True) if filled else curves[0])
    keep("curves", beside_walks(curve_table), CURVES, of_walks)
    of_strides = [PREDICTION, *([TRAINED, RULE_STATE] if beside else [])]
    keep("strides", STRIDES.of(strides, of_strides), STRIDES, of_strides)
    of_bouts = [*BESIDE, RULE_SIDE] if beside else []
    keep("bouts", BOUTS.of(bouts, of_bouts), BOUTS, of_bouts)
    label_next = read_frame(decisions["label_next"])
    of_spans = BESIDE if beside else ()
    keep("label_next", LABEL_NEXT.of(label_next, of_spans), LABEL_NEXT, of_spans)

    candidates = read_frame(decisions["candidates"])
    swallows, summaries = _swallow_tables(recordings, candidates, notes, swallow)
    keep("swallows", SWALLOWS.of(swallows), SWALLOWS)
    keep("swallow_summary", _with_who(summaries, recordings, participants), SWALLOW_SUMMARY, WHO)
    events = _event_rows(read_frames(inputs["events"].values()), read_frames(inputs["knee_bends"].values()), swallows)
    keep("events", events, EVENTS, [PREDICTION])
    progress.say(
        ", ".join(
            counted(len(rows), noun)
            for rows, noun in ((bouts, "bout"), (strides, "stride"), (swallows, "swallow"), (events, "event"))
        )
    )
