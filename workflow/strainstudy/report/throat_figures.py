"""The figure of proof for swallows: found under each kind of sensor, made up in speech and the like, and called what.

In: validation tables. Out: the picture.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from textwrap import wrap
from typing import Any, Final

import pandas as pd

from ..tables.throat import THROAT_EVIDENCE
from .content import Picture, number_text
from .proof_figures import forest
from .results import StudyTables, records
from .spoken import spoken
from .style import GREEN, GREY, PLAIN, drawing, ink_on, panels, written
from .throat_rows import CLASSES, confounded, confounder_rows, ordered, shape_rows

__all__ = ["swallow_proof_figure"]


_NAME_LENGTH: Final = 24
"""Letters in a line beside a row (ours)."""


def _people(count: Any) -> str:
    return f"{count} person" if count == 1 else f"{count} people"


def _by_shape(axis: Any, rows: pd.DataFrame) -> None:
    names = [
        f"{spoken(r['response_shape'])}\n{r['n_labelled']} labelled, {_people(r['n_participants'])}"
        for r in records(rows)
    ]
    forest(axis, rows, names, "f1", GREEN)
    axis.set(xlabel="F1 of swallows (1)", title="By response shape")
    axis.set_xlim(right=1.01)
    axis.locator_params(axis="x", nbins=5)


def _wrapped(words: str) -> str:
    return "\n".join(wrap(words, _NAME_LENGTH))


def _by_confounder(axis: Any, rows: pd.DataFrame) -> None:
    names = [
        f"{_wrapped(confounded(r['confounder']))}\n{r['n_false_swallows']} false in "
        f"{number_text(r['minutes'])} min, {_people(r['n_participants'])}"
        for r in records(rows)
    ]
    forest(axis, rows, names, "false_per_minute", PLAIN)
    if (rows["confounder"] == "all").any() and len(rows) > 1:
        below = len(rows) - 1 - int(rows.index[rows["confounder"] == "all"][0])
        axis.axhline(below + 0.5, color=GREY, linewidth=0.8)
    axis.set(xlabel="false swallows per\nminute of it (1/min)", title="Taken for a swallow")


def _by_class(axis: Any, confusion: pd.DataFrame) -> None:
    labelled = list(ordered(confusion.drop_duplicates("label"), "label", CLASSES)["label"])
    called = list(ordered(confusion.drop_duplicates("called"), "called", CLASSES)["called"])
    count, share = (
        confusion.pivot_table(index="label", columns="called", values=name, aggfunc="sum")
        .reindex(index=labelled, columns=called)
        .fillna(0)
        .to_numpy(dtype=float)
        for name in ("n", "share")
    )
    image = axis.imshow(share, cmap="Greys", vmin=0.0, vmax=1.0, aspect="auto")
    for i in range(len(labelled)):
        for j in range(len(called)):
            axis.text(
                j, i, f"{count[i, j]:.0f}", ha="center", va="center", color=ink_on(image.cmap(float(share[i, j])))
            )
    people = dict(zip(confusion["label"], confusion["n_participants"], strict=True))
    names = [
        f"{spoken(word)}\n{total:.0f}, {_people(people[word])}"
        for word, total in zip(labelled, count.sum(axis=1), strict=True)
    ]
    axis.set_xticks(range(len(called)), [spoken(c).replace(" ", "\n") for c in called], fontsize=7)
    axis.set_yticks(range(len(labelled)), names, fontsize=7)
    axis.grid(visible=False)
    axis.set(xlabel="called", ylabel="labelled", title="Movements by class")
    bar = axis.figure.colorbar(image, ax=axis, fraction=0.05, pad=0.02)
    bar.set_label("share of the labelled class (1)", fontsize=7.5)
    bar.ax.tick_params(labelsize=7)
    bar.outline.set_visible(False)


def swallow_proof_figure(tables: StudyTables, folder: Path) -> Picture | None:
    """Draw swallows by response shape, what was taken for one, and what throat movements were called."""
    shapes = shape_rows(tables)
    shapes = shapes[shapes["f1"].notna()]
    confounders = confounder_rows(tables)
    confounders = confounders[confounders["false_per_minute"].notna()].reset_index(drop=True)
    confusion = tables(THROAT_EVIDENCE["throat_confusion"])
    confusion = confusion.dropna(subset=["label", "called"])
    drawn: list[tuple[float, Callable[[Any], None]]] = []
    words = []
    if len(shapes):
        drawn.append((0.95, partial(_by_shape, rows=shapes)))
        words.append(
            "By response shape: what the sensor makes of a swallow, named from the swallows found in the recording; F1 "
            f"with centres within {number_text(shapes['tolerance'].iloc[0], 2)} s."
        )
    if len(confounders):
        drawn.append((0.95, partial(_by_confounder, rows=confounders)))
        words.append(
            "Taken for a swallow: false swallows while the named thing was labelled; below the line those in time in "
            "which nothing of it was labelled, and all of them in all time without swallows."
        )
    if len(drawn):
        words.append(
            "Bars: 95 % intervals over people; for false swallows exact Poisson limits where they are wider; a point "
            "without a bar has no interval."
        )
    if len(confusion):
        drawn.append((1.15, partial(_by_class, confusion=confusion)))
        words.append(
            "Movements by class: those that stood out from rest, called by a model that never saw the person; their "
            "number in each cell."
        )
    if not drawn:
        return None
    with drawing():
        figure, axes = panels(
            1, len(drawn), width=1.2 + 3.0 * sum(w for w, _ in drawn), height=3.7,
            gridspec_kw={"width_ratios": [w for w, _ in drawn]},
        )  # fmt: skip
        for axis, (_, draw) in zip(axes.flat, drawn, strict=True):
            draw(axis)
        png = written(figure, "agreement_swallows", folder)
    return Picture(
        "agreement_swallows",
        "Swallows against labels, and what is taken for them",
        f"n beside each row. {' '.join(words)} Counts do not show aspiration.",
        "Swallows by response shape of the sensor, false swallows by what was taken for one, and classes of throat "
        "movements as labelled and as called: those parts of it that the study has labels for.",
        png,
    )
