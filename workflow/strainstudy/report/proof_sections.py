"""Sections of proof: the classifier on people it never saw, and detection against labels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd

from ..review.names import link_to
from ..tables.classifier import EVIDENCE, HISTORY, LABEL_NEXT
from ..tables.throat import THROAT_EVIDENCE
from ..tables.validation import CONFUSION, PARAMETERS, STATES
from ..vocabulary import GAIT_STATES
from .content import (
    Block,
    Column,
    Link,
    Note,
    Picture,
    Section,
    Table,
    Text,
    interval_of,
    interval_text,
    number_text,
    pictures_of,
    table_of,
)
from .results import StudyTables, records
from .spoken import spoken, state, with_unit
from .throat_rows import CLASSES, confounded, confounder_rows, shape_rows
from .trust import Line
from .words import CAUTIONS, READING

__all__ = ["agreement", "classifier"]

_LOST_TO: Final = {
    "turn": "turns", "rest": "rest", "other": "other movement", "none": "no state", "gait": "gait without a verdict",
    "normal_gait": "the other gait", "limping_gait": "the other gait",
}  # fmt: skip
_ALL: Final = "all classes"


def _readings(frame: pd.DataFrame, caption: str, columns: Sequence[Any]) -> Table | Note:
    return table_of(frame, caption, [*columns, ("in words", "reading", False)])


_POOLED: Final = (
    "Pooled scores of people left out, 95 % intervals over people; the first two are balanced accuracies of "
    "normal against limping"
)


def _headline(tables: StudyTables, pooled: pd.DataFrame) -> list[Block]:
    """Say how well normal and limping gait were told apart, and of what the rest of the labelled time was lost to."""
    own = pooled[(pooled["predictor"] == "classifier") & pooled["balanced_accuracy_within_gait"].notna()]
    states = tables(STATES)
    states = states[(states["recording_id"] == "pooled") & (states["trial_type"] == "normal_against_limping")]
    if own.empty or states.empty:
        return []
    row, whole = records(own)[0], records(states)[0]
    confusion = tables(CONFUSION)
    lost = confusion[
        (confusion["recording_id"] == "pooled")
        & confusion["labelled"].isin(GAIT_STATES)
        & (confusion["labelled"] != confusion["detected"])
    ]
    words = lost["detected"].map(lambda name: _LOST_TO.get(name, name))
    seconds = lost.groupby(words)["seconds"].sum().sort_values(ascending=False)
    all_of_it = float(whole["labelled_seconds"])
    parts = [
        f"{number_text(s)} s ({number_text(100 * s / all_of_it, 2)} %) {word}" for word, s in seconds.items() if s > 0.5
    ]
    made_of = f"; of {number_text(all_of_it, 4)} s labelled so, called otherwise: {', '.join(parts)}" if parts else ""
    return [
        Text(
            "Normal against limping gait in people never seen, balanced accuracy within time found as gait: "
            f"{interval_text(row, 'balanced_accuracy_within_gait')}, n = {row['n_participants']} people. By all time "
            f"labelled so: {interval_text(whole, 'value')}{made_of}."
        )
    ]


def _opening(row: Mapping[str, Any]) -> Link:
    """Give the recording of a span, as a link to its page at that time."""
    return Link(str(row["recording_id"]), link_to(str(row["recording_id"]), row["onset"], row["duration"]))


def _to_label(following: pd.DataFrame) -> list[Block]:
    if following.empty:
        return []
    spans: list[Column] = [
        ("recording", _opening, False),
        ("onset (s)", "onset", True),
        ("duration (s)", "duration", True),
        ("why", "reason", False),
    ]
    return [table_of(following, "What to label next; each leads to where it can be labelled", spans)]


def classifier(tables: StudyTables, pictures: Mapping[str, Picture]) -> Section | None:
    """Show the classifier and its proof."""
    scores = tables(EVIDENCE["classifier"])
    blocks = pictures_of(pictures, "classifier", "classifier_evidence")
    following = tables(LABEL_NEXT).head(10)
    if scores.empty and not blocks and following.empty:
        return None
    if scores.empty:
        untested = Text(READING["classifier_untested"])
        return Section("classifier", "Normal or limping", (untested, *blocks, *_to_label(following)))
    pooled = scores[(scores["scope"] == "pooled") & (scores["trial_type"] == "all")]
    columns: list[Column] = [
        ("called by", lambda r: spoken(r["predictor"]), False),
        ("people", "n_participants", True),
        ("within time found as gait", interval_of("balanced_accuracy_within_gait"), False),
        ("by time, turns left out", interval_of("balanced_accuracy"), False),
        ("limping side right, turns left out", interval_of("side_accuracy"), False),
        ("log loss (nat)", interval_of("log_loss"), False),
        ("Brier score", interval_of("brier"), False),
        ("calibration error", interval_of("calibration_error"), False),
    ]
    own: list[Block] = [Text(READING["classifier"]), *_headline(tables, pooled), *blocks]
    own.append(table_of(pooled, _POOLED, columns))
    history = tables(HISTORY).tail(5)
    if len(history):
        steps: list[Column] = [
            ("model", "number", True),
            ("family", lambda r: spoken(r["family"]), False),
            ("people", "n_participants", True),
            ("balanced accuracy by time, turns left out", interval_of("balanced_accuracy"), False),
            ("against the one before", "verdict", False),
        ]
        own.append(
            table_of(
                history,
                "Models of this results folder, newest last",
                [c for c in steps if callable(c[1]) or c[1] in history],
            )
        )
    mistakes = tables(EVIDENCE["mistakes"]).head(10)
    spans: list[Column]
    if len(mistakes):
        spans = [
            ("recording", _opening, False),
            ("onset (s)", "onset", True),
            ("duration (s)", "duration", True),
            ("label", lambda r: spoken(r["label"]), False),
            ("called", lambda r: spoken(r["predicted"]), False),
            ("probability", "probability", True),
        ]
        own.append(table_of(mistakes, "Worst mistakes; each leads to where its labels can be corrected", spans))
    own += _to_label(following)
    return Section("classifier", "Normal or limping", tuple(own))


def _throat_classes(tables: StudyTables) -> list[Block]:
    """Show the scores of throat movements by class, each beside the predictors that know less."""
    frame = tables(THROAT_EVIDENCE["throat_classifier"])
    scores = frame[frame["scope"] == "pooled"]
    # Classes that a simple rule never calls have nothing to show but zeros.
    called = (scores["predictor"] == "classifier") | (scores["n_called"].fillna(0) > 0)
    scores = scores[called | scores["balanced_accuracy"].notna()]
    if scores.empty:
        return []
    order = {word: k for k, word in enumerate([*CLASSES, "all"])}
    predictors = {"classifier": 0, "without_labels": 1, "majority": 2}
    place = {"trial_type": order, "predictor": predictors}
    scores = scores.sort_values(
        ["trial_type", "predictor"], key=lambda c: c.map(place[str(c.name)]).fillna(len(order)), kind="stable"
    )
    columns: list[Column] = [
        ("class", lambda r: _ALL if r["trial_type"] == "all" else spoken(r["trial_type"]), False),
        ("called by", lambda r: spoken(r["predictor"]), False),
        ("people", "n_participants", True),
        ("labelled", "n_labelled", True),
        ("called", "n_called", True),
        ("precision", interval_of("precision"), False),
        ("recall", lambda r: interval_text(r, "balanced_accuracy" if r["trial_type"] == "all" else "recall"), False),
        ("F1", interval_of("f1"), False),
    ]
    words = READING["agreement_throat"]
    included = scores.dropna(subset=["includes"]).drop_duplicates("trial_type")
    words += "".join(
        f" {spoken(r['trial_type']).capitalize()} includes {spoken(r['includes'])}: a class that fewer than two people "
        "have labels of is learnt, and so scored, as that."
        for r in included.to_dict("records")
    )
    if (tables.results / "model" / "swallow_card.md").exists():
        words += " What the model learnt from and what it does not know stands in model/swallow_card.md."
    known = [c for c in columns if callable(c[1]) or c[1] in scores]
    caption = "Classes of throat movements, pooled over people left out, 95 % intervals over people"
    return [Text(words), table_of(scores, caption, known)]


def _swallows(tables: StudyTables, pictures: Mapping[str, Picture]) -> tuple[Section, ...]:
    """Show swallows by the sensor's response shape, what was taken for one, and the classes of throat movements."""
    shapes, confounders, classes = shape_rows(tables), confounder_rows(tables), _throat_classes(tables)
    blocks: list[Block] = [*pictures_of(pictures, "agreement_swallows")]
    if len(shapes):
        blocks.append(Text(READING["agreement_swallows"]))
        columns: list[Column] = [
            ("response shape", lambda r: spoken(r["response_shape"]), False),
            ("people", "n_participants", True),
            ("recordings", "n_recordings", True),
            ("F1", interval_of("f1"), False),
        ]
        reach = number_text(shapes["tolerance"].iloc[0], 2)
        caption = f"Swallows by response shape of the sensor, centres within {reach} s, pooled"
        blocks.append(_readings(shapes, caption, columns))
    if len(confounders):
        taken: list[Column] = [
            ("confounder", lambda r: confounded(r["confounder"]), False),
            ("labelled", "n_labelled", True),
            ("taken for a swallow", "n_taken", True),
            ("false per minute", interval_of("false_per_minute"), False),
        ]
        blocks.append(Text(READING["agreement_taken"]))
        blocks.append(_readings(confounders, "What was taken for a swallow, pooled", taken))
    blocks += classes
    if not blocks:
        return ()
    caution = Note(CAUTIONS[1].words, "caution")
    return (Section("agreement-swallows", "Swallows, and what is taken for them", (caution, *blocks)),)


_FIRST: Final = ("step_time_symmetry_index", "stride_time_cv", "stride_time_mean", "cadence")
"""Main outcomes that head the table of agreement; the others follow by name."""


def _outcomes(tables: StudyTables) -> list[Block]:
    """Show how every outcome that is reported agrees with the labels, those of asymmetry first."""
    frame = tables(PARAMETERS)
    whole = frame["detected_from"] == "result tables"
    alone = ~frame["measure"].isin(frame.loc[whole, "measure"])
    own = frame[whole | alone]
    if own.empty:
        return []
    place = {name: k for k, name in enumerate(_FIRST)}
    own = own.sort_values(
        ["measure", "trial_type"],
        key=lambda c: c.map(lambda name: f"{place.get(name, len(place))} {name}") if c.name == "measure" else c,
        kind="stable",
    )
    columns: list[Column] = [
        ("measure", lambda r: with_unit(r["measure"], r["unit"]), False),
        ("state", lambda r: state(r["trial_type"]), False),
        ("pairs", "n_pairs", True),
        ("people", "n_participants", True),
        ("mean, labels", "labelled_mean", True),
        ("pipeline minus labels", interval_of("bias"), False),
        ("limits of agreement", lambda r: f"{number_text(r['loa_lower'])} to {number_text(r['loa_upper'])}", False),
        ("ICC(2,1)", interval_of("icc"), False),
    ]
    caption = "Every outcome against labels, as the result tables report it, 95 % intervals in brackets"
    return [table_of(own, caption, columns)]


def believed(lines: Sequence[Line]) -> list[Block]:
    """Show what may be believed, and why."""
    if not lines:
        return []
    rows = tuple((line.outcome, line.evidence, line.verdict, line.more) for line in lines)
    header = ("outcome", "evidence", "believe it?", "more")
    return [Text(READING["believed"]), Table("What may be believed", header, rows, ("text",) * len(header))]


def agreement(tables: StudyTables, pictures: Mapping[str, Picture], lines: Sequence[Line] = ()) -> Section | None:
    """Show detection against labels and between raters."""
    shown = pictures_of(pictures, "agreement_events", "raters", "agreement_parameters")
    states = tables(STATES)
    swallows = _swallows(tables, pictures)
    if not shown and states.empty and not swallows:
        return None
    blocks: list[Block] = [Text(READING["agreement"]), *believed(lines), *shown, *_outcomes(tables)]
    columns: list[Column] = [
        ("state", lambda r: spoken(r["trial_type"]), False),
        ("measure", lambda r: spoken(r["measure"]), False),
        ("people", "n_participants", True),
        ("value", interval_of("value"), False),
    ]
    pooled = states[states["recording_id"] == "pooled"]
    if len(pooled):
        blocks.append(_readings(pooled, "States by time, pooled", columns))
    parameters = tables(PARAMETERS)
    expected = parameters[parameters["labelled_expected"].notna()]
    if len(expected):
        timed: list[Column] = [
            ("measure", "measure", False),
            ("state", "trial_type", False),
            ("from", "detected_from", False),
            ("labels", "labelled_mean", True),
            ("pipeline", "detected_mean", True),
            ("labels expected", "labelled_expected", True),
            ("of it rater timing", "from_rater_timing", True),
            ("ICC", interval_of("icc"), False),
        ]
        blocks.append(_readings(expected, "Variability, and what the timing of two raters alone makes of it", timed))
    return Section("agreement", "Agreement with labels", tuple(blocks), swallows)
