"""Throats of several invented cohorts: how well swallows are found under each response shape, seen and unseen.

In: nothing but seeds. Out: a page. Everybody is judged by models that never saw them. For the rows "labels of ...
alone" only recordings under sensors of that response shape have labels; the others are judged by what these teach.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))

from experiments.in_process import run_to_segments
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.io.frames import read_frame
from strainstudy.stats.matching import match_centres
from strainstudy.study import load_study
from strainstudy.swallow.candidate_labels import CANDIDATE_CLASSES, label_candidates
from strainstudy.swallow.edges import edge_differences, fit_edges, move_edges
from strainstudy.swallow.features import FEATURE_NAMES
from strainstudy.swallow.generic import accept_generic, sure_sips
from strainstudy.swallow.measures import RESPONSE_SHAPES, response_shape
from strainstudy.swallow.parameters import SwallowParameters
from strainstudy.swallow.training import CandidateResult, classify_candidates
from strainstudy.vocabulary import CONFOUNDERS
from strainstudy_simulator.cohort import write_study

SEEDS = (20_240_101, 303, 404, 505, 606)
PEOPLE = 12
TOLERANCE_S = 0.5
LIMITS = (0.5, 0.6, 0.7, 0.8)
SWALLOW = SwallowParameters()
CLASSIFY = ClassifyParameters()


class Cohort(NamedTuple):
    """Candidates with their class, response shape and acceptance by rule; labels by recording."""

    candidates: pd.DataFrame
    labels: dict[str, pd.DataFrame]


def cohort(seed: int, root: Path) -> Cohort:
    """Make a cohort and cut it, through bridge, converter, calibration and conditioning."""
    write_study(root / "study", people=PEOPLE, seed=seed, tasks=("swallow", "water", "free"), bench=False, faults=False)
    study = load_study(root / "study")
    labels = run_to_segments(study, root)
    person = {name: recording.participant_id for name, recording in study.recordings.items()}
    rows = read_frame(root / "candidates.parquet")
    rows["participant_id"] = rows["recording_id"].map(person)
    rows["rule"] = accept_generic(rows, SWALLOW)
    rows["word"] = None
    for name, own in rows.groupby("recording_id"):
        rows.loc[own.index, "word"] = label_candidates(own, labels[str(name)]).to_numpy()
    session = rows["recording_id"].str.rsplit("_", n=1).str[0]
    shapes = {name: response_shape(own) for name, own in rows[rows["rule"]].groupby(session[rows["rule"]])}
    rows["shape"] = session.map(shapes)
    return Cohort(rows, labels)


def decide(
    those: Cohort, words: pd.Series, *, gate: bool, limit: float = CLASSIFY.swallow_probability_min
) -> CandidateResult:
    """Classify the candidates of a cohort."""
    rows = those.candidates
    return classify_candidates(
        rows,
        words,
        FEATURE_NAMES,
        CANDIDATE_CLASSES,
        rows["rule"].to_numpy(dtype=bool),
        ClassifyParameters(swallow_probability_min=limit),
        kinds=rows["shape"] if gate else None,
        sips=sure_sips(rows, SWALLOW) if gate else None,
    )


def moved(those: Cohort) -> pd.DataFrame:
    """Candidates with edges as the raters of the other people put them."""
    rows = those.candidates
    known = pd.concat([edge_differences(own, those.labels[str(name)]) for name, own in rows.groupby("recording_id")])
    parts = [
        move_edges(own, fit_edges(known[known["participant_id"] != person]))
        for person, own in rows.groupby("participant_id")
    ]
    return pd.concat(parts).loc[rows.index]


def counts(found: pd.DataFrame, those: Cohort) -> pd.DataFrame:
    """Hits, false and missed swallows, false ones and minutes of confounders, summed differences of duration."""
    shape_of = those.candidates.groupby("recording_id")["shape"].first()
    out = []
    for name, labels in sorted(those.labels.items()):
        if name not in shape_of:
            continue
        own = found[found["recording_id"] == name]
        swallows = labels[labels["trial_type"] == "swallow"]
        truth, detected = (
            np.column_stack([f["onset"], f["onset"] + f["duration"]]).astype(float) for f in (swallows, own)
        )
        pairs = match_centres(truth, detected, TOLERANCE_S)
        false = np.delete(detected.mean(axis=1), pairs.estimate)
        hits = len(pairs.estimate)
        row = {"shape": shape_of[name], "hits": hits, "false": len(false), "missed": len(truth) - hits, "n": len(truth)}
        row["longer"] = float((np.diff(detected[pairs.estimate]) - np.diff(truth[pairs.reference])).sum())
        for kind in CONFOUNDERS:
            spans = labels[labels["trial_type"] == kind]
            row[f"{kind}_false"] = sum(
                int(((false >= a) & (false <= a + d)).sum())
                for a, d in zip(spans["onset"], spans["duration"], strict=True)
            )
            row[f"{kind}_minutes"] = spans["duration"].sum() / 60
        out.append(row)
    return pd.DataFrame(out)


def f1(table: pd.DataFrame) -> float:
    """F1 of summed counts."""
    hits, false, missed = table[["hits", "false", "missed"]].sum()
    return 2 * hits / (2 * hits + false + missed)


def per_minute(table: pd.DataFrame, kinds: Sequence[str] = CONFOUNDERS) -> str:
    """False swallows per minute of some confounders, with what they are read from."""
    false = int(table[[f"{kind}_false" for kind in kinds]].to_numpy().sum())
    minutes = table[[f"{kind}_minutes" for kind in kinds]].to_numpy().sum()
    return f"{false / minutes:.2f} ({false} in {minutes:.1f} min)"


def by_shape(table: pd.DataFrame) -> str:
    """F1 of each response shape."""
    return " | ".join(f"{f1(table[table['shape'] == shape]):.3f}" for shape in RESPONSE_SHAPES)


def page(cohorts: Sequence[Cohort], command: str) -> list[str]:
    """Lines of the page."""
    everyone = [those.candidates["word"] for those in cohorts]
    trained = [decide(those, words, gate=True) for those, words in zip(cohorts, everyone, strict=True)]
    final = [
        counts(moved(those)[result.candidates["accepted"]], those)
        for those, result in zip(cohorts, trained, strict=True)
    ]
    ruled = [counts(those.candidates[those.candidates["rule"]], those) for those in cohorts]
    best = [counts(those.candidates[those.candidates["word"] == "swallow"], those) for those in cohorts]
    whole = pd.concat(final)
    n = {shape: int(whole.loc[whole["shape"] == shape, "n"].sum()) for shape in RESPONSE_SHAPES}
    heads = " | ".join(f"{shape.replace('_', ' ')} (n = {n[shape]})" for shape in RESPONSE_SHAPES)
    lines = [
        "# Swallows under sensors of several response shapes",
        "",
        f"`{command}`: {len(cohorts)} invented cohorts of {PEOPLE} people, two sessions each,",
        "swallows, water tests and free recordings, through bridge, converter, calibration and conditioning. Against",
        f"the marks of a rater who misses and invents some; centres within {TOLERANCE_S:g} s. Everybody is judged by",
        "models that never saw them. All of it is simulated: no person swallowed for this page. The first cohort is",
        "that of the demo, without its faults.",
        "",
        "## Cohort by cohort",
        "",
        "| seed | labelled swallows | F1 trained | false per minute of confounders | duration less the rater's, s "
        "| F1 without labels |",
        "|---|---|---|---|---|---|",
    ]
    for seed, table, rule in zip(SEEDS, final, ruled, strict=False):
        longer = table["longer"].sum() / table["hits"].sum()
        lines.append(
            f"| {seed} | {int(table['n'].sum())} | {f1(table):.3f} | {per_minute(table)} | {longer:+.3f} "
            f"| {f1(rule):.3f} |"
        )
    lines += [
        f"| all | {int(whole['n'].sum())} | {f1(whole):.3f} | {per_minute(whole)} "
        f"| {whole['longer'].sum() / whole['hits'].sum():+.3f} | {f1(pd.concat(ruled)):.3f} |",
        "",
        "## By response shape, and what happens to shapes that nobody labelled",
        "",
        f"| F1 | {heads} |",
        "|---|---|---|---|",
        f"| each labelled swallow given its own candidate (upper limit) | {by_shape(pd.concat(best))} |",
        f"| trained on all | {by_shape(whole)} |",
        f"| without labels | {by_shape(pd.concat(ruled))} |",
    ]
    for gate, words in ((False, "classifier alone"), (True, "as the pipeline does it")):
        for shape in RESPONSE_SHAPES:
            tables = []
            for those in cohorts:
                some = those.candidates["word"].where(those.candidates["shape"] == shape, None)
                result = decide(those, some, gate=gate)
                tables.append(counts(those.candidates[result.candidates["accepted"]], those))
            name = shape.replace("_", " ")
            lines.append(f"| labels of {name} alone, {words} | {by_shape(pd.concat(tables))} |")
    lines += [
        "",
        "The pipeline leaves a response shape that fewer than two training people have, and fewer than half of them,",
        "to the detector without labels.",
        "",
        "## By confounder",
        "",
        "| taken for swallows, per minute | trained | without labels |",
        "|---|---|---|",
    ]
    for kinds, name in (*(((kind,), kind.replace("_", " ")) for kind in CONFOUNDERS), (CONFOUNDERS, "all three")):
        lines.append(f"| {name} | {per_minute(whole, kinds)} | {per_minute(pd.concat(ruled), kinds)} |")
    lines += [
        "",
        "## Probability from which a candidate is called a swallow",
        "",
        "| limit | F1 | false per minute |",
        "|---|---|---|",
    ]
    for limit in LIMITS:
        tables = [
            counts(those.candidates[result.candidates["probability"].fillna(0.0) >= limit], those)
            for those, result in zip(cohorts, trained, strict=True)
        ]
        lines.append(f"| {limit:g} | {f1(pd.concat(tables)):.3f} | {per_minute(pd.concat(tables))} |")
    return lines


def main() -> None:
    """Write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("page", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        cohorts = [cohort(seed, Path(scratch) / str(seed)) for seed in SEEDS]
    lines = page(cohorts, f"python tests/experiments/throat_shapes.py {options.page}")
    options.page.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
