"""Figures of proof: how the classifier did on people it never saw, and how detection agrees with raters."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from ..tables.classifier import EVIDENCE
from ..tables.validation import CONFUSION, PARAMETERS, RATERS
from ..tables.validation import EVENTS as AGREEMENT
from ..validate.parameters import ValidateParameters
from .content import Picture, number_text
from .results import StudyTables, records
from .spoken import CRITERIA, measured, people_text, spoken, state
from .strips import draw_strips, looked_at, strips_of
from .style import ALERT, BLACK, GREY, PLAIN, drawing, ink_on, panels, written

__all__ = [
    "agreement_figure",
    "bland_altman_figure",
    "classifier_figure",
    "draw_found",
    "draw_left_out",
    "draw_parameters",
    "draw_raters",
    "draw_timing",
    "event_rows",
    "evidence_figure",
    "forest",
    "parameter_rows",
    "rater_rows",
    "raters_figure",
]

_LIMITS: Final = (
    f"bias ± {ValidateParameters().limits_multiplier:g} SD, unless the setting limits_multiplier is another"
)
_PREDICTORS: Final = {
    "classifier": (PLAIN, "o"),
    "published_asymmetry": (GREY, "s"),
    "amplitude_ratio": (GREY, "^"),
    "majority": (GREY, "x"),
}
_POOR: Final = 0.75
"""Recall below which a person left out is named (ours)."""
_CUT_PERCENT: Final = 60.0
"""Percent of the mean at which a difference is cut, so that one wide row hides no others (ours)."""
_EMPTY: Final = "not available for this study"


def _say_empty(axis: Any) -> None:
    axis.text(0.5, 0.5, _EMPTY, ha="center", va="center", transform=axis.transAxes, color=GREY)
    axis.set(xticks=[], yticks=[])


def _confusion(axis: Any, confusion: pd.DataFrame) -> None:
    own = confusion[(confusion["recording_id"] == "pooled") & (confusion["labelled"] != "other")]
    if own.empty:
        _say_empty(axis)
        return
    words = ["rest", "normal_gait", "limping_gait", "turn"]
    rows = [w for w in words if (own["labelled"] == w).any()]
    columns = [w for w in [*words, "gait", "other", "none"] if (own["detected"] == w).any()]
    share = np.zeros((len(rows), len(columns)))
    for r in records(own):
        if r["labelled"] in rows and r["detected"] in columns:
            share[rows.index(r["labelled"]), columns.index(r["detected"])] = float(r["share"])
    image = axis.imshow(share, cmap="Greys", vmin=0.0, vmax=1.0, aspect="auto")
    for i, j in np.ndindex(share.shape):
        ink = ink_on(image.cmap(float(share[i, j])))
        axis.text(j, i, f"{100 * share[i, j]:.1f}", ha="center", va="center", color=ink)
    axis.set_xticks(range(len(columns)), [spoken(c).replace(" ", "\n") for c in columns], fontsize=7.5)
    axis.set_yticks(range(len(rows)), [spoken(r).replace(" ", "\n") for r in rows], fontsize=7.5)
    axis.grid(visible=False)
    axis.set(xlabel="detected", ylabel="labelled", title="Time by state (% of labelled)")


def _reliability(axis: Any, reliability: pd.DataFrame) -> None:
    axis.set(xlabel="predicted probability of limping", ylabel="share labelled limping", title="Reliability")
    if reliability.empty:
        _say_empty(axis)
        return
    axis.plot([0, 1], [0, 1], ":", color=GREY)
    x, y = (reliability[c].to_numpy(dtype=float) for c in ("predicted", "observed"))
    low, high = (
        reliability[f"observed_{e}"].fillna(reliability["observed"]).to_numpy(dtype=float) for e in ("low", "high")
    )
    size = 12.0 + 300.0 * reliability["windows_share"].fillna(0).to_numpy(dtype=float)
    axis.errorbar(x, y, yerr=np.clip([y - low, high - y], 0, None), fmt="none", ecolor=PLAIN, elinewidth=0.9)
    axis.scatter(x, y, s=size, color=PLAIN, alpha=0.75, linewidths=0)


def _recalls(classifier: pd.DataFrame) -> pd.DataFrame:
    """Mean recall of normal and limping time of each person left out, by predictor."""
    own = classifier[(classifier["scope"] == "fold") & classifier["trial_type"].isin(["normal_gait", "limping_gait"])]
    own = own[own["recall"].notna()].groupby(["predictor", "participant_id"])[["recall"]].mean().reset_index()
    return own.astype({"participant_id": str})


def draw_left_out(axis: Any, classifier: pd.DataFrame) -> list[str]:
    """Draw a strip for each predictor: the score of every person left out.

    Parameters
    ----------
    axis : Axes
    classifier : DataFrame
        ``validation/classifier.tsv``.

    Returns
    -------
    list of str
        People whom the classifier fails on: less than three quarters of their time right, worst first.
    """
    own = _recalls(classifier)
    if own.empty:
        _say_empty(axis)
        return []
    strips = []
    for predictor, (colour, marker) in _PREDICTORS.items():
        rows = own[own["predictor"] == predictor]
        of_all = (classifier["scope"] == "pooled") & (classifier["trial_type"] == "all")
        pooled = classifier.loc[of_all & (classifier["predictor"] == predictor), "balanced_accuracy"].to_list()
        words = spoken(predictor).replace(" of the ", "\nof the ").replace(" limits of ", " limits\nof ")
        words += f"\npooled {number_text(pooled[0], 3)}" if pooled else ""
        strips += strips_of([(words, colour, marker, rows)], "recall", "participant_id")
    draw_strips(axis, strips, named=False)
    axis.set(xlim=(-0.04, 1.04), xlabel="mean recall by time, turns left out", title="People never seen")
    bad = own[(own["predictor"] == "classifier") & (own["recall"] < _POOR)].sort_values("recall", kind="stable")
    return [str(name) for name in bad["participant_id"]]


def classifier_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw confusion, reliability and the score of each person left out, beside the baselines."""
    classifier = tables(EVIDENCE["classifier"])
    confusion = tables(CONFUSION)
    reliability = tables(EVIDENCE["reliability"])
    if not (classifier["scope"] == "fold").any():
        return None  # nobody was left out
    with drawing():
        figure, axes = panels(1, 3, width=10.0, height=3.4, gridspec_kw={"width_ratios": [1.1, 0.9, 1.5]})
        _confusion(axes[0, 0], confusion)
        _reliability(axes[0, 1], reliability)
        worst = draw_left_out(axes[0, 2], classifier)
        png = written(figure, "classifier", folder)
    pooled = confusion[confusion["recording_id"] == "pooled"]
    minutes = float(pooled["seconds"].fillna(0).sum()) / 60.0 if len(pooled) else 0.0
    people = classifier.loc[classifier["scope"] == "fold", "participant_id"].nunique()
    return Picture(
        "classifier",
        "The classifier on people it never saw",
        f"Out-of-fold only: each of n = {people} people was left out of everything that was fitted. Left: "
        f"{minutes:.0f} labelled minutes. Middle: bars are 95 % intervals over people, point area is the share of "
        "windows. Right: mean recall of normal and limping time (turns left out) for each person, where both or one "
        "were labelled, beside three simple rules.",
        "Confusion matrix, reliability curve and score of each person.",
        png,
        first=looked_at(worst),
    )


def _permutation(axis: Any, permutation: pd.DataFrame) -> None:
    if permutation.empty:
        _say_empty(axis)
        return
    for k, row in enumerate(records(permutation)):
        axis.plot(
            [row["null_low"], row["null_high"]], [k, k], color=GREY, linewidth=6, solid_capstyle="butt", alpha=0.6
        )
        axis.plot(row["value"], k, "D", color=PLAIN)
        axis.text(
            row["value"], k + 0.14, f"p = {number_text(row['p_value'], 2)}", ha="right", va="bottom", fontsize=7.5
        )
    axis.set_yticks(
        range(len(permutation)), [spoken(s).replace(" (", "\n(") for s in permutation["statistic"]], fontsize=7
    )
    axis.set_ylim(-0.6, len(permutation) - 0.2)
    axis.set(title="True labels against exchanged ones", xlabel="score")


def _learning(axis: Any, curve: pd.DataFrame) -> None:
    if curve.empty:
        _say_empty(axis)
        return
    x = curve["n_participants"].to_numpy(dtype=float)
    axis.fill_between(x, curve["low"].to_numpy(dtype=float), curve["high"].to_numpy(dtype=float), color=GREY, alpha=0.3,
                      linewidth=0)  # fmt: skip
    axis.plot(x, curve["balanced_accuracy"].to_numpy(dtype=float), "o-", color=PLAIN)
    axis.set(xlabel="people trained on", ylabel="balanced accuracy", title="Learning curve")


def _ablation(axis: Any, ablation: pd.DataFrame) -> None:
    if ablation.empty:
        _say_empty(axis)
        return
    rows = ablation.sort_values("balanced_accuracy", kind="stable")
    axis.plot(rows["balanced_accuracy"].to_numpy(dtype=float), range(len(rows)), "o", color=PLAIN)
    names = [f"{spoken(f)} ({n})" for f, n in zip(rows["features"], rows["n_features"], strict=True)]
    axis.set_yticks(range(len(rows)), names, fontsize=7)
    axis.set(xlabel="balanced accuracy", title="With some groups of features")


def _importance(axis: Any, importance: pd.DataFrame) -> None:
    if importance.empty:
        _say_empty(axis)
        return
    rows = importance.sort_values("log_loss_increase", ascending=False, kind="stable").head(10).iloc[::-1]
    value = rows["log_loss_increase"].to_numpy(dtype=float)
    reach = np.clip([value - rows["low"].to_numpy(dtype=float), rows["high"].to_numpy(dtype=float) - value], 0, None)
    axis.errorbar(value, range(len(rows)), xerr=reach, fmt="o", color=PLAIN, markersize=4, elinewidth=0.9)
    axis.axvline(0.0, color=BLACK, linewidth=0.8)
    axis.set_yticks(range(len(rows)), [measured(f) for f in rows["feature"]], fontsize=7)
    axis.set(xlabel="rise of log loss (nat)", title="A feature taken from another")


def evidence_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw permutation test, learning curve, ablation and importance."""
    frames = [tables(EVIDENCE[name]) for name in ("permutation", "learning_curve", "ablation", "importance")]
    if all(frame.empty for frame in frames):
        return None
    with drawing():
        figure, axes = panels(2, 2, width=8.6, height=5.2)
        for axis, draw, frame in zip(axes.flat, (_permutation, _learning, _ablation, _importance), frames, strict=True):
            draw(axis, frame)
        png = written(figure, "classifier_evidence", folder)
    people = frames[0]["n_participants"].max() if len(frames[0]) else "n/a"
    return Picture(
        "classifier_evidence",
        "What the classifier rests on",
        f"n = {people} people, a quick classifier with a fixed setting. Top left: grey is the range of 95 % of the "
        "scores with exchanged labels. Top right: band from least to greatest of the draws; a curve that still rises "
        "asks for more people. Bottom left: number of features in brackets. Bottom right: bars from least to "
        "greatest draw.",
        "Permutation test, learning curve, ablation and importance.",
        png,
    )


def forest(axis: Any, rows: pd.DataFrame, names: list[str], name: str, colour: str) -> None:
    """Draw one row each, first on top: ``name`` with its interval, a point alone where there is none."""
    value = rows[name].to_numpy(dtype=float)
    low, high = (rows[f"{name}_{e}"].fillna(rows[name]).to_numpy(dtype=float) for e in ("low", "high"))
    y = np.arange(len(rows))[::-1]
    axis.errorbar(value, y, xerr=np.clip([value - low, high - value], 0, None), fmt="o", color=colour, markersize=4,
                  elinewidth=1)  # fmt: skip
    axis.set_yticks(y, names, fontsize=7)
    axis.set_ylim(-0.7, len(rows) - 0.3)


def _tolerance(row: dict[str, Any]) -> str:
    return CRITERIA[str(row["criterion"])].format(number_text(row["tolerance"], 2))


def _coinciding(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> list[tuple[dict[str, Any], str]]:
    """Make one row of rows of a type whose numbers are the same, with all their criteria in words."""
    found: dict[tuple[Any, ...], tuple[dict[str, Any], list[str]]] = {}
    for row in rows:
        key = (row["trial_type"], *(number_text(row[name], 4) for name in columns))
        found.setdefault(key, (row, []))[1].append(_tolerance(row))
    return [
        (row, ",\n".join(", ".join(words[k : k + 2]) for k in range(0, len(words), 2))) for row, words in found.values()
    ]


def event_rows(events: pd.DataFrame) -> pd.DataFrame:
    """Take the pooled rows of ``validation/events.tsv``, those that coincide as one, each with its ``name``."""
    pooled = events[(events["recording_id"] == "pooled") & events["f1"].notna() & (events["n_labelled"].fillna(0) > 0)]
    whole = pooled[pooled["side"] == "all"]
    told = _coinciding(records(whole if len(whole) else pooled), ("f1", "f1_low", "bias", "loa_lower"))
    rows = [row | {"name": f"{spoken(row['trial_type'])}, {words} (n = {row['n_labelled']})"} for row, words in told]
    return pd.DataFrame(rows, columns=[*events.columns, "name"])


def draw_found(axis: Any, rows: pd.DataFrame) -> None:
    """Draw F1 with its interval, a row for each type and tolerance: the rows of `event_rows`."""
    forest(axis, rows, list(rows["name"]), "f1", PLAIN)
    axis.set(xlabel="F1, 95 % interval over people")
    axis.set_xlim(right=1.01)


def draw_timing(axis: Any, rows: pd.DataFrame) -> None:
    """Draw bias and limits of agreement in time, a row for each type and tolerance: the rows of `event_rows`."""
    y = np.arange(len(rows))[::-1]
    bias, low, high = (1000.0 * rows[c].to_numpy(dtype=float) for c in ("bias", "loa_lower", "loa_upper"))
    axis.hlines(y, low, high, color=GREY, linewidth=3, alpha=0.6)
    axis.plot(bias, y, "|", color=BLACK, markersize=9, markeredgewidth=1.6)
    axis.axvline(0.0, color=BLACK, linewidth=0.8)
    axis.set(xlabel="detected − labelled (ms)")


def agreement_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw pooled F1 and timing error of every event type and tolerance."""
    rows = event_rows(tables(AGREEMENT))
    if rows.empty:
        return None
    with drawing():
        figure, axes = panels(
            1, 2, width=8.6, height=0.9 + 0.2 * len(rows), sharey=True, gridspec_kw={"width_ratios": [1, 1]}
        )
        draw_found(axes[0, 0], rows)
        draw_timing(axes[0, 1], rows)
        axes[0, 0].set_title("Found and not made up")
        axes[0, 1].set_title("Timing, limits of agreement")
        png = written(figure, "agreement_events", folder)
    return Picture(
        "agreement_events",
        "Detected events against labels",
        f"Pooled over n = {people_text(int(rows['n_participants'].max()))}; number of labelled events in brackets. "
        "One-to-one matching with most matches, then least distance. Limits of agreement "
        f"({_LIMITS}) are for one event of a person not yet seen (Bland & Altman 1986, 2007).",
        "F1 and timing error of each event type.",
        png,
    )


_ENDS: Final = ("bias", "bias_low", "bias_high", "loa_lower", "loa_upper")


def parameter_rows(parameters: pd.DataFrame) -> pd.DataFrame:
    """Take a row for each measure and state of ``validation/parameters.tsv``, in percent of the mean from labels.

    Returns
    -------
    DataFrame
        name, n_participants, and bias, bias_low, bias_high, loa_lower, loa_upper in percent; an interval that is not
        known has no width. Signed asymmetries, whose mean is near zero, are left out.
    """
    own = parameters[parameters["bias"].notna() & (pd.to_numeric(parameters["labelled_mean"]).abs() > 0)]
    own = own[~own["measure"].astype(str).str.contains("symmetry|log_ratio|phase_dev|coordination")]
    # One row a measure: what the result tables say, else what detected events say.
    own = own.sort_values("detected_from", ascending=False, kind="stable")
    own = own.drop_duplicates(["measure", "trial_type"]).sort_values(["measure", "trial_type"], kind="stable")
    scale = 100.0 / own["labelled_mean"].abs().to_numpy(dtype=float)
    names = [
        f"{measured(m)}{', ' + state(s) if state(s) else ''} (n = {n})"
        for m, s, n in zip(own["measure"], own["trial_type"], own["n_pairs"], strict=True)
    ]
    numbers = {c: own[c].fillna(own["bias"]).to_numpy(dtype=float) * scale for c in _ENDS}
    return pd.DataFrame({"name": names, "n_participants": own["n_participants"].to_numpy(), **numbers})


def draw_parameters(axis: Any, rows: pd.DataFrame) -> list[str]:
    """Draw bias and limits of agreement: the rows of `parameter_rows`.

    Returns
    -------
    list of str
        Names of the rows that are wider than the axis.
    """
    y = np.arange(len(rows))[::-1]
    bias, low_bias, high_bias, low, high = (rows[c].to_numpy(dtype=float) for c in _ENDS)
    axis.hlines(y, low, high, color=GREY, linewidth=4, alpha=0.5)
    wide = np.maximum(np.abs(low), np.abs(high)) > _CUT_PERCENT
    for at, a, b in zip(y[wide], low[wide], high[wide], strict=True):
        axis.text(1.01, at, f"{a:.0f} to {b:.0f} %".replace("-", "\u2212"), transform=axis.get_yaxis_transform(),
                  va="center", fontsize=7, color=ALERT)  # fmt: skip
    reach = np.clip([bias - low_bias, high_bias - bias], 0, None)
    axis.errorbar(bias, y, xerr=reach, fmt="o", color=PLAIN, markersize=4)
    axis.axvline(0.0, color=BLACK, linewidth=0.8)
    axis.set_yticks(y, rows["name"], fontsize=7)
    axis.set(
        xlabel=f"pipeline − labels (% of the mean from labels), cut at ±{_CUT_PERCENT:g}",
        ylim=(-0.7, len(rows) - 0.3), xlim=(-_CUT_PERCENT, _CUT_PERCENT),
    )  # fmt: skip
    return list(rows.loc[wide, "name"])


def bland_altman_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw bias and limits of agreement of each parameter, as percent of its mean."""
    rows = parameter_rows(tables(PARAMETERS))
    if rows.empty:
        return None
    with drawing():
        figure, axes = panels(1, 1, width=7.8, height=0.9 + 0.21 * len(rows))
        wide = draw_parameters(axes[0, 0], rows)
        png = written(figure, "agreement_parameters", folder)
    return Picture(
        "agreement_parameters",
        "Parameters: pipeline against labels",
        "Point: bias with its 95 % interval; grey: limits of agreement ("
        f"{_LIMITS}; repeated measures per person, Bland & Altman 2007). n of pairs in brackets, at most "
        f"{people_text(int(rows['n_participants'].max()))}. Signed "
        "asymmetries, whose mean is near zero, stand in the table below.",
        "Bias and limits of agreement of each parameter.",
        png,
        first="; ".join(wide),
    )


def rater_rows(raters: pd.DataFrame) -> pd.DataFrame:
    """Take what ``validation/raters.tsv`` compares, rows that coincide as one.

    Returns
    -------
    DataFrame
        name, and rater, rater_low, rater_high, own, own_low, own_high: F1 or kappa with the reference rater.
    """
    whole = raters[(raters["side"] == "all") | raters["f1"].isna()]
    found = records(whole if len(whole) else raters)
    timed = [r for r in found if pd.notna(r["f1"]) and pd.notna(r["pipeline_f1"])]
    same = ("f1", "f1_low", "pipeline_f1", "pipeline_f1_low")
    told = [(r, "f1", f"{words}, n = {r['n_labelled']}") for r, words in _coinciding(timed, same)]
    told += [(r, "kappa", "κ") for r in found if pd.notna(r["kappa"]) and pd.notna(r["pipeline_kappa"])]
    rows = []
    for r, name, detail in told:
        ends = [r[f"{n}{e}"] for n in (name, f"pipeline_{name}") for e in ("", "_low", "_high")]
        rows.append((f"{spoken(r['trial_type'])} ({detail})", *ends))
    return pd.DataFrame(rows, columns=["name", "rater", "rater_low", "rater_high", "own", "own_low", "own_high"])


def draw_raters(axis: Any, rows: pd.DataFrame) -> None:
    """Draw the second rater and the pipeline beside each other: the rows of `rater_rows`."""
    y = np.arange(len(rows))[::-1]
    for name, colour, marker, shift, label in (
        ("rater", GREY, "s", 0.14, "second rater"),
        ("own", PLAIN, "o", -0.14, "pipeline"),
    ):
        value = rows[name].to_numpy(dtype=float)
        low, high = (rows[f"{name}_{e}"].fillna(rows[name]).to_numpy(dtype=float) for e in ("low", "high"))
        reach = np.clip([value - low, high - value], 0, None)
        axis.errorbar(value, y + shift, xerr=reach, fmt=marker, color=colour, markersize=4, elinewidth=0.9, label=label)
    axis.set_yticks(y, rows["name"], fontsize=7)
    axis.set(xlabel="agreement with the reference rater (F1, or κ for states)", ylim=(-0.7, len(rows) - 0.3))
    axis.legend(loc="lower left")


def raters_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw the second rater and the pipeline, both against the reference rater."""
    raters = tables(RATERS)
    rows = rater_rows(raters)
    if rows.empty:
        return None
    with drawing():
        figure, axes = panels(1, 1, width=7.8, height=1.1 + 0.26 * len(rows))
        draw_raters(axes[0, 0], rows)
        png = written(figure, "raters", folder)
    people = int(raters["n_participants"].max()) if raters["n_participants"].notna().any() else 0
    return Picture(
        "raters",
        "As good as a second rater?",
        f"Both against {raters['reference_rater'].iloc[0]}, on the recordings that both raters labelled, n = "
        f"{people_text(people)}; 95 % intervals over people.",
        "Agreement of the second rater and of the pipeline with the reference rater.",
        png,
    )
