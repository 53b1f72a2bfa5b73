"""Items of the reporting guidelines that apply to a study: where each is answered, or that the authors must answer it.

In: which data the study has. Out: rows of ``paper/checklist.tsv``. Items go by the number of the published list, in our
own words: TRIPOD+AI (Collins et al. 2024), STARD 2015 (Bossuyt et al. 2015), GRRAS (Kottner et al. 2011; its list was
read where others reprint it) and STROBE (von Elm et al. 2007); the other numbers from memory (95 %). Journals ask for
the lists as they are printed: this table says what to write into them.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

import pandas as pd

from ..tables.spec import TableSpec, text
from .names import CAPTIONS, CHECKLIST_FILE, METHODS_FILE, figure_file, table_file

__all__ = ["CHECKLIST", "GUIDELINES", "ITEMS", "checklist_rows"]

CHECKLIST: Final = TableSpec(
    path=CHECKLIST_FILE,
    title="Reporting checklist",
    description="Items of the reporting guidelines that apply to this study, by item number and in our own words, and "
    "where each is answered.",
    columns=(
        text("guideline", "Guideline", "Which guideline: TRIPOD+AI, STARD 2015, GRRAS or STROBE."),
        text("item", "Item", "Number of the item in the published list."),
        text("asks", "Asks", "What the item asks, in our own words."),
        text("answered", "Answered", "yes, partly (the authors must add to it), or authors (only they can know)."),
        text("where", "Where", "File and section of the results that answers it, or what the authors must say."),
    ),
    key=(),
)
GUIDELINES: Final = {
    "STROBE": "observational studies",
    "TRIPOD+AI": "prediction models, here the classifier of gait",
    "STARD 2015": "accuracy of detection against labels",
    "GRRAS": "reliability between sessions and agreement with raters",
}
_AUTHORS: Final = "authors"


class Item(NamedTuple):
    """One item: its guideline and number, what it asks, whether and where it is answered."""

    guideline: str
    number: str
    asks: str
    answered: str
    where: str


def _methods(section: str) -> str:
    return f"{METHODS_FILE}, {section}"


def _table(*names: str) -> str:
    return "; ".join(table_file(name) for name in names)


def _figure(name: str) -> str:
    return figure_file(name, 174, "pdf")


_PEOPLE: Final = _methods("Participants and recordings")
_STATISTICS: Final = _methods("Statistics")
_CLASSIFIERS: Final = _methods("Classifiers")
_LABELS: Final = _methods("Labels")
_ADD: Final = _methods("What the authors must add")
_FLOW: Final = _table("flow")
_ROWS: Final = {
    "STROBE": (
        ("1", "design named in title and abstract, with a balanced summary", _AUTHORS, "title and abstract"),
        ("2", "background and reason for the study", _AUTHORS, "introduction"),
        ("3", "aims and hypotheses fixed beforehand", _AUTHORS, "introduction"),
        ("4", "design, early in the paper", "partly", f"{_PEOPLE}: sessions and tasks; the authors name the design"),
        ("5", "where, when, recruitment and follow-up", _AUTHORS, f"{_ADD}: Recruitment"),
        ("6", "who could take part, and how they were chosen", _AUTHORS, f"{_ADD}: Recruitment"),
        ("7", "outcomes, exposures and confounders defined", "partly", f"{_methods('Gait')}, Swallowing, Knee angle; "
         "confounders are the authors'"),
        ("8", "how each variable was measured, and whether alike in all groups", "yes", f"{METHODS_FILE}, all of "
         "Methods"),
        ("9", "what was done about bias", "partly", f"{_LABELS}; {_CLASSIFIERS}: participants left out; selection is "
         "the "
         "authors'"),
        ("10", "how the number of participants came about", _AUTHORS, f"{_ADD}: Sample size"),
        ("11", "how numbers were handled and grouped", "yes", f"{_STATISTICS}"),
        ("12a", "statistical methods, confounding included", "partly", f"{_STATISTICS}; nothing is adjusted"),
        ("12b", "subgroups and interactions", "partly", f"{_table('outcomes', 'sides')}: by group, state and side"),
        ("12c", "what was done about missing data", "partly", f"{_methods('Signal processing')}; {_ADD}: Missing data"),
        ("12d", "loss to follow-up, matching or sampling", _AUTHORS, f"{_ADD}: Recruitment"),
        ("12e", "sensitivity analyses", "partly", "validation/ablation.tsv, validation/learning_curve.tsv"),
        ("13", "numbers at each stage, with reasons for leaving out", "partly", f"{_FLOW}; those who declined are "
         "the authors'"),
        ("14", "who the participants were, and what is missing of them", "yes", f"{_table('participants')}"),
        ("15", "outcomes in numbers", "yes", f"{_table('outcomes')}; tables/gait.tsv, tables/swallow_summary.tsv"),
        ("16", "estimates with precision, unadjusted and adjusted", "partly", f"{_table('outcomes', 'sides')}: "
         "unadjusted"),
        ("17", "other analyses", "yes", f"{_table('reliability')}; validation/norms.tsv, tables/change.tsv"),
        ("18", "main results against the aims", _AUTHORS, "discussion"),
        ("19", "limitations, with direction and size of bias", "partly", "report.html, cautions; discussion"),
        ("20", "cautious interpretation as a whole", _AUTHORS, "discussion"),
        ("21", "how far results carry over to others", _AUTHORS, "discussion"),
        ("22", "funding", _AUTHORS, f"{_ADD}: Declarations"),
    ),
    "TRIPOD+AI": (
        ("1", "title: a prediction model is developed or evaluated, for whom, for what", _AUTHORS, "title"),
        ("2", "abstract by the list for abstracts", _AUTHORS, "abstract"),
        ("3a", "health context, reason for the model, models there are", _AUTHORS, "introduction"),
        ("3b", "for whom, where in care and by whom it is to be used", _AUTHORS, "introduction; model/card.md names "
         "cautions"),
        ("3c", "known inequalities in health between groups of people", _AUTHORS, "introduction"),
        ("4", "aims: development, evaluation or both", _AUTHORS, "introduction"),
        ("5a", "sources of data, for training and evaluation apart", "partly", f"{_PEOPLE}; {_LABELS}"),
        ("5b", "dates of collection", _AUTHORS, f"{_ADD}: Recruitment"),
        ("6a", "setting and number of centres", _AUTHORS, f"{_ADD}: Recruitment"),
        ("6b", "who could take part", _AUTHORS, f"{_ADD}: Recruitment"),
        ("6c", "treatments, and how they were handled", _AUTHORS, f"{_ADD}: Treatment"),
        ("7", "preparing and checking of data, alike in all groups", "yes", f"{_methods('Signal processing')}"),
        ("8a", "the outcome, and how and when it was assessed", "partly", f"{_LABELS}; {_ADD}: Labels"),
        ("8b", "who assessed the outcome, with which training", _AUTHORS, f"{_ADD}: Labels"),
        ("8c", "whether assessment was blind", _AUTHORS, f"{_ADD}: Labels"),
        ("9a", "how predictors were chosen before modelling", "yes", "tables/features.tsv: formula and source of each"),
        ("9b", "every predictor defined, how and when measured", "yes", f"tables/features.tsv; {_CLASSIFIERS}"),
        ("9c", "who assessed predictors that need judgement", "yes", "none does: all are computed"),
        ("10", "how the size of the sample came about", _AUTHORS, f"{_ADD}: Sample size; "
         "validation/learning_curve.tsv"),
        ("11", "missing data, and why cases were left out", "yes", f"{_CLASSIFIERS}; {_FLOW}"),
        ("12a", "how data were used and split", "yes", f"{_CLASSIFIERS}: participants left out whole"),
        ("12b", "how predictors were scaled and transformed", "yes", f"{_CLASSIFIERS}; model/card.json"),
        ("12c", "kind of model, why, how built and tuned, internal validation", "yes", f"{_CLASSIFIERS}; "
         "validation/choices.tsv"),
        ("12d", "differences between clusters such as centres", "partly", "validation/classifier.tsv: each "
         "participant; "
         "centres are the authors'"),
        ("12e", "measures and plots of performance", "yes", f"{_STATISTICS}; {_figure('classifier')}"),
        ("12f", "updating of the model", "yes", "model/history.tsv"),
        ("12g", "how predictions were calculated", "yes", "model/ holds model, card and worked examples"),
        ("13", "imbalance of classes", "yes", f"{_STATISTICS}: balanced accuracy; model/card.json has the numbers"),
        ("14", "what was done about fairness", _AUTHORS, "validation/classifier.tsv gives each participant"),
        ("15", "what the model puts out, and any threshold", "yes", f"{_CLASSIFIERS}; tables/bouts.tsv"),
        ("16", "differences between data of development and evaluation", "yes", f"{_CLASSIFIERS}: the same study"),
        ("17", "ethics and consent", _AUTHORS, f"{_ADD}: Ethics"),
        ("18a", "funding", _AUTHORS, f"{_ADD}: Declarations"),
        ("18b", "interests", _AUTHORS, f"{_ADD}: Declarations"),
        ("18c", "protocol", _AUTHORS, f"{_ADD}: Declarations"),
        ("18d", "registration", _AUTHORS, f"{_ADD}: Declarations"),
        ("18e", "where the data can be had", _AUTHORS, f"{_ADD}: Declarations"),
        ("18f", "where the code can be had", "partly", f"{_STATISTICS}: name and version; the address is the authors'"),
        ("19", "part of patients and public", _AUTHORS, "methods"),
        ("20a", "flow of participants, with and without the outcome", "yes", f"{_FLOW}; model/card.json"),
        ("20b", "who the participants were, and what is missing", "yes", f"{_table('participants')}"),
        ("20c", "predictors in evaluation beside those in development", "yes", "model/predictions.tsv, column caution"),
        ("21", "participants and outcomes in each analysis", "yes", f"{_table('classifier')}"),
        ("22", "the model in full, so that others can use it", "yes", "model/model.skops, model/card.json"),
        ("23a", "performance with intervals, subgroups too", "partly", f"{_table('classifier')}; subgroups are the "
         "authors'"),
        ("23b", "performance between clusters", "partly", f"{_figure('classifier')}: each participant"),
        ("24", "results of updating", "yes", "model/history.tsv"),
        ("25", "interpretation, fairness included", _AUTHORS, "discussion"),
        ("26", "limitations", _AUTHORS, "discussion; model/card.md, cautions"),
        ("27a", "what happens with poor or missing input", "yes", f"{_CLASSIFIERS}; tables/bouts.tsv, column caution"),
        ("27b", "what users must do and know", _AUTHORS, "discussion"),
        ("27c", "what comes next", _AUTHORS, "discussion"),
    ),
    "STARD 2015": (
        ("1", "title or abstract: accuracy, with at least one measure of it", _AUTHORS, "title"),
        ("2", "structured abstract", _AUTHORS, "abstract"),
        ("3", "background, use and place of the test", _AUTHORS, "introduction"),
        ("4", "aims and hypotheses", _AUTHORS, "introduction"),
        ("5", "whether data were collected before or after the tests were planned", _AUTHORS, f"{_ADD}: Recruitment"),
        ("6", "who could take part", _AUTHORS, f"{_ADD}: Recruitment"),
        ("7", "on what basis they were found", _AUTHORS, f"{_ADD}: Recruitment"),
        ("8", "where and when", _AUTHORS, f"{_ADD}: Recruitment"),
        ("9", "consecutive, random or convenience sample", _AUTHORS, f"{_ADD}: Recruitment"),
        ("10a", "the index test, so that it can be repeated", "yes", f"{METHODS_FILE}, all of Methods; provenance/"),
        ("10b", "the reference standard, so that it can be repeated", "partly", f"{_LABELS}; {_ADD}: Labels"),
        ("11", "why that reference", _AUTHORS, f"{_ADD}: Labels"),
        ("12a", "cut-offs of the index test, fixed before or found", "yes", f"{METHODS_FILE}; report.html, settings"),
        ("12b", "cut-offs of the reference", "yes", f"{_STATISTICS}: tolerances"),
        ("13a", "whether the index test knew the reference", "yes", f"{_CLASSIFIERS}: never of a participant tested"),
        ("13b", "whether raters knew the index test", _AUTHORS, f"{_ADD}: Labels"),
        ("14", "how accuracy was estimated and compared", "yes", f"{_STATISTICS}"),
        ("15", "indeterminate results", "partly", f"{_table('parameter_agreement')}: without a value"),
        ("16", "missing results", "partly", f"{_FLOW}"),
        ("17", "analyses of variability", "yes", "validation/events.tsv: each recording; validation/throat_shapes.tsv"),
        ("18", "size of the sample", _AUTHORS, f"{_ADD}: Sample size"),
        ("19", "flow of participants", "partly", f"{_FLOW}: of recordings"),
        ("20", "who the participants were", "yes", f"{_table('participants')}"),
        ("21a", "severity in those with the condition", _AUTHORS, f"{_ADD}: Clinical description"),
        ("21b", "other conditions in those without", _AUTHORS, f"{_ADD}: Clinical description"),
        ("22", "time and treatment between both tests", "yes", "none: labels and detection are of the same recording"),
        ("23", "table of index test against reference", "yes", f"{_table('event_agreement')}; "
         "validation/confusion.tsv"),
        ("24", "accuracy with intervals", "yes", f"{_table('event_agreement')}; {_figure('event_agreement')}"),
        ("25", "adverse events", _AUTHORS, f"{_ADD}: Safety"),
        ("26", "limitations", _AUTHORS, "discussion"),
        ("27", "implications for practice", _AUTHORS, "discussion"),
        ("28", "registration", _AUTHORS, f"{_ADD}: Declarations"),
        ("29", "protocol", _AUTHORS, f"{_ADD}: Declarations"),
        ("30", "funding", _AUTHORS, f"{_ADD}: Declarations"),
    ),
    "GRRAS": (
        ("1", "title or abstract: reliability or agreement was looked at", _AUTHORS, "title"),
        ("2", "the instrument", "partly", f"{_methods('Sensors and electronics')}; {_ADD}: Materials"),
        ("3", "the people it is meant for", _AUTHORS, "introduction"),
        ("4", "the raters it is meant for", _AUTHORS, f"{_ADD}: Labels"),
        ("5", "what is known already, and why this study", _AUTHORS, "introduction; tables/change.tsv names "
         "published values"),
        ("6", "how numbers of raters, people and repeats were chosen", _AUTHORS, f"{_ADD}: Sample size"),
        ("7", "how people were sampled", _AUTHORS, f"{_ADD}: Recruitment"),
        ("8", "the process of measuring: time between, information, blinding", "partly", f"{_PEOPLE}; {_ADD}: Tasks, "
         "Labels"),
        ("9", "whether measurements were independent", _AUTHORS, f"{_ADD}: Labels"),
        ("10", "statistical analysis", "yes", f"{_STATISTICS}"),
        ("11", "numbers of raters, people and repeats in fact", "yes", f"{_LABELS}; {_table('reliability', 'raters')}"),
        ("12", "who raters and people were", "partly", f"{_table('participants')}; {_ADD}: Labels"),
        ("13", "reliability and agreement with intervals", "yes", f"{_table('reliability', 'parameter_agreement')}; "
         f"{_table('raters')}; {_figure('limits_of_agreement')}, {_figure('reliability')}"),
        ("14", "what it means in practice", _AUTHORS, "discussion"),
        ("15", "results in detail, such as online", "yes", f"validation/retest.tsv, validation/pairs.tsv; {CAPTIONS}"),
    ),
}  # fmt: skip
ITEMS: Final = tuple(Item(guideline, *row) for guideline, rows in _ROWS.items() for row in rows)


def checklist_rows(guidelines: Iterable[str], made: Iterable[str]) -> pd.DataFrame:
    """List the items of some guidelines.

    Parameters
    ----------
    guidelines : iterable of str
        Names of `GUIDELINES`.
    made : iterable of str
        Files of the kit that this study gave; an item whose only answer lies in files that it did not give goes to the
        authors.

    Returns
    -------
    DataFrame
        Columns of `CHECKLIST`, in the order of the guidelines' items.
    """
    wanted, there = set(guidelines), set(made)
    rows = []
    for item in ITEMS:
        if item.guideline not in wanted:
            continue
        named = [word.strip(",;:") for word in item.where.split() if word.startswith("paper/")]
        lost = bool(named) and not any(name in there for name in named)
        rows.append(
            item._replace(answered=_AUTHORS, where=f"no data in this study for: {item.where}") if lost else item
        )
    return pd.DataFrame(rows, columns=list(CHECKLIST.names))
