"""Labels and feature rows of the whole study to a model, its evidence, and a decision for every span and candidate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from ..classify_parameters import ClassifyParameters
from ..gait.elsewhere import trained_words, unlike
from ..gait.feature_specs import feature_table
from ..gait.model_card import GAIT_MODEL, gait_card_words, no_model_words
from ..gait.model_card import UNTRAINED as GAIT_UNTRAINED
from ..gait.model_files import GAIT_FILES
from ..gait.result import StateResult
from ..gait.training import train_states
from ..gait.windows import GAIT_FEATURES
from ..io.atomic import write_bytes, write_text
from ..io.frames import read_frames, write_frame, write_json
from ..io.store import FloatArray
from ..jobs import Progress
from ..learn.card import read_card, write_card
from ..learn.card_words import untrained_lines
from ..learn.external import Given, read_external
from ..learn.history import extend
from ..learn.model_files import NO_MODEL
from ..learn.threads import processes
from ..provenance.manifest import sha256_of
from ..records import Participant, Recording
from ..settings import build
from ..swallow.candidate_labels import CANDIDATE_CLASSES, label_candidates
from ..swallow.edges import EdgeModel, edge_differences, fit_edges, move_edges
from ..swallow.features import FEATURE_NAMES, SWALLOW_FEATURES
from ..swallow.generic import accept_generic, sure_sips
from ..swallow.measures import response_shape
from ..swallow.model_card import SWALLOW_MODEL, candidate_card, candidate_card_words
from ..swallow.model_card import UNTRAINED as SWALLOW_UNTRAINED
from ..swallow.model_files import SWALLOW_FILES
from ..swallow.parameters import SwallowParameters
from ..swallow.scores import confusion_rows, score_candidates
from ..swallow.training import CandidateResult, classify_candidates
from ..tables import read_table, write_table, write_typed
from ..tables.classifier import BESIDE, EVIDENCE, FEATURES, HISTORY, PREDICTIONS
from ..tables.throat import MOVEMENTS, THROAT_EVIDENCE
from ..tables.training import TRAINING
from ..upstream import UPSTREAM, Values, difference_words, upstream_settings
from .bodies import seat_of
from .labels import labels_by

BoolArray = npt.NDArray[np.bool_]

__all__ = ["extend_history", "read_training", "run"]


def _with_person(frame: pd.DataFrame, recordings: Sequence[Recording]) -> pd.DataFrame:
    person = {recording.recording_id: recording.participant_id for recording in recordings}
    return frame.assign(participant_id=frame["recording_id"].map(person))


def _words(candidates: pd.DataFrame, labels: Mapping[str, pd.DataFrame]) -> pd.Series:
    words = pd.Series(None, index=candidates.index, dtype=object)
    for recording, rows in candidates.groupby("recording_id", sort=True):
        if str(recording) in labels:
            words.loc[rows.index] = label_candidates(rows, labels[str(recording)]).to_numpy()
    return words


def _matched(candidates: pd.DataFrame, labels: Mapping[str, pd.DataFrame]) -> list[pd.DataFrame]:
    """Pair candidates with labelled swallows that have a duration, recording by recording."""
    return [
        edge_differences(rows, labels[str(recording)]).assign(participant_id=rows["participant_id"].iloc[0])
        for recording, rows in candidates.groupby("recording_id", sort=True)
        if str(recording) in labels
    ]


def _moved_edges(
    candidates: pd.DataFrame, matched: Sequence[pd.DataFrame], fold: FloatArray, given: EdgeModel
) -> pd.DataFrame:
    """Put onsets and ends where raters put them: those of the other people of each fold, or of another study."""
    some = [own for own in matched if len(own)]
    if not some:
        return move_edges(candidates, given)
    known = pd.concat(some, ignore_index=True)
    parts = []
    # A row in no fold is of somebody whose labels, if there are any, must not move it either: a group of its person.
    person = candidates["participant_id"].to_numpy(dtype=object)
    groups = [str(number) if number >= 0 else f"of {who}" for number, who in zip(fold, person, strict=True)]
    for _, own in candidates.groupby(groups, sort=True):
        others = known[~known["participant_id"].isin(set(own["participant_id"]))]
        parts.append(move_edges(own, fit_edges(others)))
    return pd.concat(parts).loc[candidates.index]


def extend_history(results: Path, trained: Sequence[StateResult], parameters: ClassifyParameters) -> pd.DataFrame:
    """Add the models that were trained, each compared with the one before; none if the last one is there already."""
    path = results / HISTORY.path
    old = read_table(results, HISTORY) if path.is_file() and path.with_suffix(".json").is_file() else None
    models = [result.model for result in trained if result.model is not None]
    history = old
    if models and old is not None and len(extend(old, models[-1].history_entry, {}, parameters)) == len(old):
        return old
    for model in models:
        history = extend(history, model.history_entry, model.participant_log_loss, parameters)
    return HISTORY.empty() if history is None else history


def read_training(folder: Path, settings: Values) -> tuple[pd.DataFrame, str]:
    """Read the labelled windows of a model that comes along, and say what they are.

    Parameters
    ----------
    folder : Path
        Of the model.
    settings : mapping of section to mapping of name to value
        What this study's models rest on (`upstream.upstream_settings`).

    Returns
    -------
    DataFrame
        As `gait.task.labelled_windows` gives them; no participant of a study is called so.
    str
        Its name, its people, its hash; and in which settings it was made otherwise than this study runs.
    """
    frame = read_table(folder, TRAINING).assign(touched=True)
    owner = folder.name
    frame = frame.assign(**{name: f"{owner}/" + frame[name] for name in ("recording_id", "participant_id", "unit")})
    for name in ("label", "label_side"):
        frame[name] = pd.Series([None if pd.isna(word) else word for word in frame[name]], dtype=object)
    card = read_card((folder / GAIT_FILES.card).read_text(encoding="utf-8"), str(folder / GAIT_FILES.card))
    said = trained_words(card).removeprefix("trained elsewhere: ")
    words = f"{owner} ({said}; {sha256_of(folder / TRAINING.path)[:12]})"
    return frame, "; ".join(filter(None, [words, difference_words(card.get("settings"), settings)]))


def _write_gait_model(folder: Path, result: StateResult, history: pd.DataFrame, untrained: Sequence[str]) -> None:
    """Write the model with its card; where there is none, an earlier run's goes and the card says why."""
    if result.model is None:
        (folder / GAIT_FILES.model).unlink(missing_ok=True)
        decided = {} if result.given_sha256 is None else {"decided_by_model_sha256": result.given_sha256}
        write_json(folder / GAIT_FILES.card, {"card": NO_MODEL, "reason": result.reason, **decided})
        write_text(folder / GAIT_FILES.words, no_model_words(untrained))
    else:
        write_bytes(folder / GAIT_FILES.model, result.model.content)
        write_text(folder / GAIT_FILES.card, write_card(result.model.card))
        write_text(folder / GAIT_FILES.words, gait_card_words(result.model.card, history, untrained))


def _response_shapes(rows: pd.DataFrame, rule: BoolArray, recordings: Sequence[Recording]) -> pd.Series:
    """Name the response shape of each candidate's sensor, by the swallows that need no label to be found."""
    seats = {recording.recording_id: "/".join(seat_of(recording)) for recording in recordings}
    seat = rows["recording_id"].map(seats)
    shapes = {name: response_shape(own) for name, own in rows[rule].groupby(seat[rule])}
    return pd.Series([shapes.get(name) for name in seat], index=rows.index, dtype=object)


def _swallows(
    rows: pd.DataFrame,
    words: pd.Series,
    parameters: ClassifyParameters,
    swallow: SwallowParameters,
    settings: Values,
    recordings: Sequence[Recording],
    given: Given | None,
    results: Path,
    matched: Sequence[pd.DataFrame],
) -> tuple[CandidateResult, dict[str, pd.DataFrame]]:
    """Classify throat movements; write the model with its card, and their predictions. Give the evidence as well."""
    rule = accept_generic(rows, swallow)
    kinds = _response_shapes(rows, rule, recordings)
    decided = classify_candidates(
        rows,
        words,
        FEATURE_NAMES,
        CANDIDATE_CLASSES,
        rule,
        parameters,
        kinds=kinds,
        given=given,
        sips=sure_sips(rows, swallow),
    )
    judged = pd.concat(
        [rows[["recording_id", "participant_id", "onset", "duration", "score"]], decided.candidates], axis=1
    )
    judged = judged.assign(label=words, rule=rule)
    write_table(MOVEMENTS.of(judged), MOVEMENTS, results)
    scored = judged.assign(label=decided.learnt)
    scores = score_candidates(scored, CANDIDATE_CLASSES, parameters)
    merged = decided.merged(words, rows["participant_id"])
    folder = results / "model"
    if decided.content is not None and len(scores):
        edges = asdict(fit_edges(matched))
        card = candidate_card(decided, words, rows["participant_id"], edges, scores, SWALLOW_FEATURES, settings)
        write_bytes(folder / SWALLOW_FILES.model, decided.content)
        write_text(folder / SWALLOW_FILES.card, write_card(card))
        write_text(folder / SWALLOW_FILES.words, candidate_card_words(card))
    else:
        for name in SWALLOW_FILES.of_a_model:
            (folder / name).unlink(missing_ok=True)
    confusion = confusion_rows(scored, CANDIDATE_CLASSES)
    return decided, {
        "throat_classifier": _with_merged(scores, "trial_type", merged),
        "throat_confusion": _with_merged(confusion, "label", merged),
    }


def _with_merged(frame: pd.DataFrame, column: str, merged: pd.DataFrame) -> pd.DataFrame:
    """Say in each row of a class which others were learnt as it."""
    if frame.empty:
        return frame
    said = {
        name: ", ".join(f"{row.label} ({row.n_participants} participant)" for row in own.itertuples())
        for name, own in merged.groupby("learnt")
    }
    return frame.assign(includes=frame[column].map(said))


def _dictionary() -> pd.DataFrame:
    """Make the rows of the feature dictionary."""
    throat = pd.DataFrame([feature._asdict() for feature in SWALLOW_FEATURES]).assign(
        group="swallow", low=np.nan, high=np.nan, mirror=None, knees=None
    )
    return pd.concat([FEATURES.of(feature_table(GAIT_FEATURES)), FEATURES.of(throat)], ignore_index=True)


def run(
    recordings: Sequence[Recording],
    participants: Mapping[str, Participant],
    *,
    settings: Values,
    reference_rater: str | None,
    external: Path | None,
    standby: Path | None = None,
    train_with: Path | None = None,
    label_tables: Sequence[Path],
    windows: Sequence[Path],
    states: Sequence[Path],
    candidates: Sequence[Path],
    outputs: Mapping[str, Path],
    results: Path,
    progress: Progress,
    threads: int = 1,
) -> None:
    """Decide by what the labels of the study teach, by the model of another one, or by the rules.

    Parameters
    ----------
    recordings : sequence of Recording
        All of the study, with their labels.
    participants : mapping of str to Participant
    settings : mapping of section to mapping of name to value
        All sections of `upstream.UPSTREAM`: this stage trains under ``classify``, takes from ``swallow`` the rule that
        stands in for a model, and writes the others into the cards.
    reference_rater : str or None
        Whose labels are learnt.
    external : Path or None
        Model folder of another study, which decides everything.
    standby : Path or None
        Folder of a model of gait that comes along, which decides where labels teach none.
    train_with : Path or None
        Folder of a model that comes along, whose data is learnt from as well.
    label_tables : sequence of Path
        Labels of raters, from `gather`.
    windows, states, candidates : sequence of Path
        What features and segment left, all batches.
    outputs : mapping of str to Path
        ``bouts``, ``rule_bouts``, ``candidates``, ``label_next``, ``evidence`` (a folder).
    results : Path
        Results folder, for ``model/`` and ``tables/features.tsv``.
    progress : Progress
    threads : int
        Processes to train with; their number changes no result.
    """
    with processes(threads):
        labels = labels_by(reference_rater, label_tables, recordings)
        parameters = build(ClassifyParameters, settings["classify"])
        upstream = {subject: upstream_settings(settings, subject) for subject in UPSTREAM}
        stored = {"gait": GAIT_MODEL, "swallow": SWALLOW_MODEL}
        given = {} if external is None else read_external(external, stored, upstream)
        throats = given.get("swallow")
        stands_in = None if standby is None else read_external(standby, stored, upstream).get("gait")
        told = next((model.card for model in (given.get("gait"), stands_in) if model is not None), {})
        more, more_words = (None, None) if train_with is None else read_training(train_with, upstream["gait"])
        people = pd.DataFrame(
            [{"participant_id": p.participant_id, "affected_side": p.affected_side} for p in participants.values()],
            columns=["participant_id", "affected_side"],
        )
        taught = _with_person(read_frames(windows), recordings), read_frames(states), labels, people
        learn = partial(
            train_states,
            *taught,
            given=given.get("gait"),
            standby=stands_in,
            unlike=unlike(told, recordings, participants),
            settings=upstream["gait"],
            say=progress.say,
        )
        result = learn(parameters, more=more, more_words=more_words)
        alone = [] if more is None else [learn(replace(parameters, permutations=0))]
        progress.say(f"gait: {result}")

        frames = {} if result.evidence is None else result.evidence.frames()
        history = extend_history(results, [*alone, result], parameters)
        rows = _with_person(read_frames(candidates), recordings)
        matched = _matched(rows, labels)
        swallow = build(SwallowParameters, settings["swallow"])
        decided, evidence = _swallows(
            rows,
            _words(rows, labels),
            parameters,
            swallow,
            upstream["swallow"],
            recordings,
            throats,
            results,
            matched,
        )
    progress.say(f"swallows: {decided}")
    edges = EdgeModel() if throats is None else EdgeModel.of(throats.card["edges"])
    moved = _moved_edges(rows, matched, decided.candidates["fold"].to_numpy(), edges)
    write_frame(outputs["candidates"], pd.concat([moved, decided.candidates], axis=1))
    write_frame(outputs["bouts"], result.bouts)
    write_frame(outputs["label_next"], result.label_next)
    outputs["evidence"].mkdir(parents=True, exist_ok=True)
    for name, spec in {**EVIDENCE, **THROAT_EVIDENCE}.items():
        frame = (frames | evidence).get(name, spec.empty())
        write_typed(spec.of(frame), spec, outputs["evidence"] / f"{name}.parquet")
    beside = () if result.rule_bouts is None else BESIDE
    write_frame(outputs["rule_bouts"], result.bouts.iloc[:0] if result.rule_bouts is None else result.rule_bouts)
    write_table(PREDICTIONS.of(result.predictions, beside), PREDICTIONS, results, beside)
    write_table(_dictionary(), FEATURES, results)
    write_table(HISTORY.of(history), HISTORY, results, lasting=True)
    untrained = [
        *untrained_lines(GAIT_UNTRAINED, result),
        *untrained_lines(SWALLOW_UNTRAINED, decided),
    ]
    _write_gait_model(results / "model", result, history, untrained)
