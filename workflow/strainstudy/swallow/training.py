"""What moved the throat: candidates of all recordings to probabilities, by the machinery that gait uses.

In: candidates with features, the class a rater gave each (swallow, speech, cough, head movement, other), participants.
Out: for each candidate the probability of each class by a model that never saw the participant (or by the stored
model, for participants without labels), and a stored model. Without labels of enough people nothing is trained and
the caller's own score decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..learn.crossfit import recipe_of
from ..learn.decide import Outcome, decide
from ..learn.external import Given
from ..learn.feature_rows import BoolArray, FloatArray, IntArray, Rows, Task, TextArray
from ..learn.fitting import PEOPLE_MIN, PersonClassifier
from ..learn.model_store import dump_models
from ..learn.threads import one_thread
from .movement_parameters import MovementParameters

__all__ = ["REST", "TARGET", "CandidateResult", "candidate_rows", "candidate_task", "classify_candidates"]

TARGET = "swallow"
REST = "another movement"
OTHER = "other"
VARIANT = "throat"
UNKNOWN_KIND = "too few training people have a sensor of this response shape: decided without labels"
NOBODY_TESTED = (
    "no response shape of a sensor is shared by enough labelled people to test a model on: three people for each "
    "shape, or two where all sensors are alike"
)
# Below it a model speaks against the whole run: a head that nods in time. Sips lie above 0.4, nods below 0.2 (chosen on
# the five cohorts of throat_shapes.py, of which one has such nods).
_SIP_PROBABILITY_MIN = 0.3


@dataclass(frozen=True)
class CandidateResult(Outcome):
    """What is known of the candidates.

    Parameters
    ----------
    candidates : DataFrame
        Index of the input; ``probability`` of a swallow (NaN where the rule decides), ``accepted``, ``called`` (the
        class; of a candidate that is no swallow the most probable other one, None where the rule decides so),
        ``probability_<class>`` for each class (NaN for one that nobody labelled), ``prediction`` (out_of_fold, final,
        rule), ``fold``, ``caution``.
    content : bytes or None
        The model file.
    models : mapping of str to PersonClassifier
        The stored model by variant, for its card.
    learnt : Series of str or None
        Class that each candidate was learnt as: that of the rater, but ``other`` for a class that fewer than two people
        have labels of. By these it is scored.
    kinds : tuple of str
        Kinds of signal under which the model was tested on people it never saw.
    """

    candidates: pd.DataFrame
    content: bytes | None
    models: Mapping[str, PersonClassifier]
    learnt: pd.Series
    kinds: tuple[str, ...] = ()

    def merged(self, words: pd.Series, people: pd.Series) -> pd.DataFrame:
        """List the classes that were learnt as another one because too few people have labels of them.

        Parameters
        ----------
        words, people : Series
            Class by the rater, and participant, of each candidate.

        Returns
        -------
        DataFrame
            ``label, learnt, n, n_participants``, in alphabetical order.
        """
        other = words.notna() & (words != self.learnt)
        frame = pd.DataFrame({"label": words, "learnt": self.learnt, "who": people})[other]
        groups = frame.groupby(["label", "learnt"], sort=True)["who"]
        return groups.agg(n="size", n_participants="nunique").reset_index()


def candidate_task(features: Sequence[str], classes: Sequence[str]) -> Task:
    """Say what is learnt from candidates: each class by itself, chosen and calibrated by swallow or not."""
    return Task(
        columns=tuple(features),
        classes=tuple(classes),
        report={c: REST for c in classes if c != TARGET},
        variants={VARIANT: tuple(features)},
    )


def candidate_rows(candidates: pd.DataFrame, words: pd.Series, features: Sequence[str]) -> Rows:
    """Make rows to learn from.

    Parameters
    ----------
    candidates : DataFrame
        ``recording_id, participant_id`` and the features.
    words : Series of str or None
        Class that the rater gave each; None where the rater cannot be asked.
    features : sequence of str
        Columns to learn from.

    Returns
    -------
    Rows
    """
    number = np.arange(len(candidates))
    return Rows(
        x=candidates[list(features)].to_numpy(dtype=float),
        y=np.array([None if pd.isna(w) else str(w) for w in words], dtype=object),
        groups=candidates["participant_id"].to_numpy(dtype=object),
        units=np.array([f"{k:06d}" for k in number], dtype=object),
        blocks=candidates["recording_id"].to_numpy(dtype=object),
        learn=np.ones(len(candidates), dtype=np.bool_),
    )


def _thin_classes_merged(rows: Rows) -> Rows:
    """Take a class of which fewer than two people have labels for ``other``: nobody else could be judged by it."""
    y = rows.y.copy()
    for name in sorted(set(y[rows.labelled].tolist()) - {TARGET, OTHER}):
        own = rows.y == name
        if len(set(rows.groups[own].tolist())) < PEOPLE_MIN:
            y[own] = OTHER
    return rows.with_labels(y)


def _kinds_learnt(kind: TextArray, rows: Rows, fold: IntArray) -> BoolArray:
    """Say of which candidates the kind of signal was well enough known to the model that judges them.

    Known are kinds that two training people at least have labelled swallows of, or half of the training people: one
    person among many with another kind teaches too little to stand against these.
    """
    learnt = np.ones(len(rows), dtype=np.bool_)
    for k in sorted(set(fold[fold >= 0].tolist())):
        teaching = (rows.y == TARGET) & (fold >= 0) & (fold != k)
        people = len(set(rows.groups[teaching].tolist()))
        taught = set()
        for name in set(kind[teaching].tolist()):
            own = len(set(rows.groups[teaching & (kind == name)].tolist()))
            if own >= PEOPLE_MIN or 2 * own >= people:
                taught.add(name)
        own_fold = fold == k
        learnt[own_fold] = [name is None or name in taught for name in kind[own_fold]]
    return learnt


def _called(p: FloatArray, classes: Sequence[str], accepted: BoolArray) -> TextArray:
    """Name the class of each candidate; None for what the rule did not take for a swallow."""
    others = [k for k, name in enumerate(classes) if name != TARGET]
    known = np.isfinite(p[:, others]).any(axis=1)
    best = np.argmax(np.nan_to_num(p[:, others], nan=-1.0), axis=1)
    names = np.array([classes[k] for k in others], dtype=object)[best]
    return np.where(accepted, TARGET, np.where(known, names, None))


def _likely_runs(sips: IntArray, swallow: FloatArray) -> BoolArray:
    """Mark the sips of those runs of which the model finds at least one not improbable."""
    likeliest = pd.Series(swallow).groupby(sips).transform("max").to_numpy()
    return (sips >= 0) & (likeliest >= _SIP_PROBABILITY_MIN)


@one_thread
def classify_candidates(
    candidates: pd.DataFrame,
    words: pd.Series,
    features: Sequence[str],
    classes: Sequence[str],
    rule: BoolArray,
    parameters: MovementParameters,
    *,
    kinds: pd.Series | None = None,
    given: Given | None = None,
    sips: IntArray | None = None,
) -> CandidateResult:
    """Say what each candidate is.

    Parameters
    ----------
    candidates : DataFrame
        Of all recordings: ``recording_id, participant_id`` and the features.
    words : Series of str or None
        Class of each candidate by the reference rater.
    features : sequence of str
        Columns to learn from.
    classes : sequence of str
        All classes, ``swallow`` first; those that nobody labelled are not learnt.
    rule : array of bool, shape (n,)
        Decision without labels, used where there is no model.
    parameters : MovementParameters
        Settings.
    kinds : Series of str or None, optional
        What kind of signal each candidate is in (None: unknown). A model decides only on kinds that swallows of enough
        people taught it; on others, where it would miss most, the rule stands in.
    given : Given, optional
        A checked model of another study; nothing is trained then. Its card says under which kinds it was tested.
    sips : int array, shape (n,), optional
        Number of the run of sips that each stands in by its company, -1 for none (`generic.sure_sips`). Where the model
        finds one of a run not improbable, all of them are accepted.

    Returns
    -------
    CandidateResult
    """
    rows = _thin_classes_merged(candidate_rows(candidates, words, features))
    labelled = set(rows.y[rows.labelled].tolist())
    task = candidate_task(features, [name for name in classes if name in labelled or name == TARGET])
    if len(task.classes) == 1:
        task = candidate_task(features, [TARGET, OTHER])
    recipe = recipe_of(parameters, parameters.swallow_families)
    decided = decide(rows, task, recipe, parameters, given=given)
    method, reason, models, fold = decided.method, decided.reason, decided.models, decided.fold
    p = np.column_stack([decided.of(name) for name in classes])
    known = np.isfinite(decided.of(TARGET))
    # Where no model spoke the rule stands in.
    prediction = np.where(known, decided.prediction, "rule")
    caution = decided.caution.copy()
    kind = np.full(len(rows), None, dtype=object) if kinds is None else kinds.to_numpy(dtype=object)
    learnt = np.ones(len(rows), dtype=np.bool_) if method == "external" else _kinds_learnt(kind, rows, fold)
    proven: tuple[str, ...] = () if given is None else tuple(sorted(map(str, given.card["data"]["response_shapes"])))
    if method == "trained":
        tested = learnt & (prediction == "out_of_fold") & rows.labelled
        proven = tuple(sorted({str(name) for name in kind[tested & (rows.y == TARGET)].tolist() if name is not None}))
        if len(set((rows.y[tested] == TARGET).tolist())) < 2:
            method, reason, models = "rule", NOBODY_TESTED, {}
    # A model that was never tested under a response shape has nothing to say there.
    final = prediction == "final"
    learnt[final] = [not proven or name is None or name in proven for name in kind[final]]
    foreign = known & ~learnt if models else np.ones(len(rows), dtype=np.bool_)
    p[foreign], prediction[foreign] = np.nan, "rule"
    caution[foreign] = UNKNOWN_KIND if models else None
    swallow = p[:, list(classes).index(TARGET)]
    told = np.isfinite(swallow)
    accepted = np.where(told, np.nan_to_num(swallow) >= parameters.swallow_probability_min, rule).astype(np.bool_)
    if sips is not None:
        raised = _likely_runs(sips, np.nan_to_num(swallow)) & told & ~accepted
        caution[raised] = "taken for a swallow as a sip among sips"
        accepted |= raised
    frame = pd.DataFrame(
        {
            "probability": swallow,
            "accepted": accepted,
            "called": _called(p, classes, accepted),
            **{f"probability_{name}": p[:, k] for k, name in enumerate(classes)},
            "prediction": prediction,
            "fold": fold,
            "caution": caution,
        },
        index=candidates.index,
    )
    content = dump_models(models) if method == "trained" else None
    learnt_as = pd.Series(rows.y, index=candidates.index, dtype=object)
    return CandidateResult(method, reason, frame, content, models, learnt_as, proven)
