"""Methods of what was measured, labelled, learnt and compared; the second half of `methods`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import pandas as pd

from ..cautions import KNOWN_COVERAGE
from ..gait.limits import FALSE_ALARMS
from ..gait.verdict import VERDICT_COLUMNS
from ..report.content import number_text
from ..report.elsewhere import elsewhere_of
from ..report.results import StudyTables
from ..settings import describe
from ..tables.angles import ANGLES, CALIBRATIONS
from ..tables.bends import KNEE_BENDS
from ..tables.classifier import BOUTS, EVIDENCE
from ..tables.events import STRIDES
from ..tables.gait import ANSWERS, GAIT
from ..tables.standing import CHANGE, GROUPS, NORMS, RETEST
from ..tables.swallows import SWALLOW_SUMMARY
from ..tables.validation import EVENTS, PARAMETERS, RATERS, STATES
from ..validate.unvalidated import unvalidated_words
from ..vocabulary import EVENT_TYPES, GAIT_STATES, SIDES
from .facts import Facts
from .frames import withheld_words
from .prose import counted, listed, span
from .words import measure_words, p_text

__all__ = ["OUTCOME_SECTIONS", "statistics_text"]

_FAMILIES: Final = {
    "logistic_regression": "logistic regression",
    "random_forest": "a random forest [@breiman2001]",
    "gradient_boosting": "gradient-boosted trees",
    "extra_trees": "extremely randomized trees [@geurts2006]",
}
_DEFINITIONS: Final = (
    ("stride time", "from an initial contact to the next of the same side"),
    ("step time of a side", "from the other side's initial contact to this side's next"),
    ("stance and swing time", "from initial contact to toe-off and from toe-off to the next contact "
     "[@perryburnfield2010]"),
    ("cadence", "120 / mean stride time"),
    ("stride-time CV", "standard deviation of stride times about the mean of their side, both sides pooled, as "
     "percent of the mean stride time [@hausdorff1998]"),
    ("symmetry index", "(right − left) / (0.5 (right + left)) × 100 [@robinson1987]"),
    ("log ratio", "100 ln(right / left) [@plotnik2005]; without sign, its size"),
    ("affected and other side", "of a participant without an affected side the mean of both stands for either"),
    ("phase coordination index", "CV of the phase of the other foot's contact plus its mean deviation from 180 degrees "
     "as percent of 180 [@plotnik2007]"),
    ("range of motion", "greatest minus least knee angle in the stride, only where the knee was calibrated"),
)  # fmt: skip


def _angles(tables: StudyTables, facts: Facts) -> list[str]:
    calibrations, angles = tables(CALIBRATIONS), tables(ANGLES)
    if calibrations.empty:
        return []
    s = facts.settings["calibrate"]
    fitted = calibrations[calibrations["status"] == "fitted"]
    ways = {
        "holds": f"holds at known angles (the first {s.hold_level_s:g} s of each; the angle of a hold was taken to be "
        f"right within {s.hold_error_deg:g}°, SD [@eliasziw1994])",
        "reference": "a reference angle beside the sensor, in the spans that the study names",
    }
    said = [words for way, words in ways.items() if (fitted["source"] == way).any()]
    if not said:
        return ["No knee could be calibrated to degrees, so that no angle is reported."]
    text = (
        f"Knee sensors were calibrated to degrees for each participant and session from {listed(said)}, with one "
        f"monotone map per sensor [@fritschcarlson1980]; {len(fitted)} of "
        f"{counted(len(calibrations), 'calibration')} succeeded. Every angle has a prediction interval of "
        f"{100 * s.prediction_level:g} %, which holds the scatter of the holds, the hysteresis that they leave open "
        "and drift of the zero over the session; where holds could not show hysteresis, "
        f"{s.assumed_hysteresis_percent:g} % of the span "
        f"was allowed for [@amjadi2016]. How often it held: {KNOWN_COVERAGE}."
    )
    sources = pd.concat([tables(GAIT, *ANSWERS)[f"answer_time_source_{side}"] for side in SIDES]).dropna()
    own = sources.isin(["bench", "reference"]).sum()
    if own:
        text += (
            f" Each sensor's own answering time, measured on the bench or against a reference, was undone ({own} of "
            f"{len(sources)} knees and walks; elsewhere {s.response_time_s:g} s from 10 to 90 % of a step was assumed)."
        )
    if len(angles):
        single = angles[angles["recording_id"] != "pooled"]
        n, people = single["recording_id"].nunique(), single["participant_id"].nunique()
        text += (
            f" A reference angle was recorded beside the sensor in {counted(n, 'recording')} of "
            f"{counted(people, 'participant')}; what made the map is left out of the comparison."
        )
    return [text]


def _gait(tables: StudyTables, facts: Facts) -> list[str]:
    strides = tables(STRIDES)
    if strides.empty:
        return []
    s = facts.settings["gait"]
    steady = int(strides["steady"].fillna(value=False).astype(bool).sum())
    contact = (
        f"Initial contact follows the end of the swing's extension by {s.contact_offset_percent:g} % of the stride and "
        f"toe-off the fastest flexion by {s.toe_off_offset_percent:g} % [@schwartz2008; @pearl2022]."
    )
    definitions = "; ".join(f"{name}: {words}" for name, words in _DEFINITIONS)
    turns = (
        " A turn is the run of two swings or more that were, in size and time, likelier those of a usual turn (smaller "
        "and slower) than of the rest of that walk, beyond a limit of the log likelihood ratio."
    )
    return [
        "Strides were found in the knee curves alone. The local rhythm of strides was taken from autocorrelation in "
        "overlapping windows [@moenilssen2004], joined over time by the best path [@viterbi1967]; strides of "
        f"{s.stride_time_min_s:g} to {s.stride_time_max_s:g} s were looked for. One swing for each stride and knee "
        f"was chosen by dynamic programming [@ellis2007]. {contact} Nothing in units of the signal decided.{turns} The "
        f"first and last {counted(s.settling_strides, 'stride')} of each side of a walk, turns and strides beside a "
        f"pause were left out: {steady} of {counted(len(strides), 'stride')} were steady. A summary of fewer than "
        f"{s.strides_min} strides carries a warning [@pmc6348278].",
        f"Definitions: {definitions}. The 95 % intervals of a recording's measures are about the person's usual "
        f"value that day: bootstrap intervals over strides ({s.bootstrap_resamples} resamples) [@efron1987], widened "
        f"for the persistence of strides (Hurst exponent {s.stride_persistence:g}) [@hausdorff1995; @beran1994] and by "
        "the error of the landmarks, taken from labels of other people and from force plates [@pearl2022].",
        *_verdicts(tables, facts),
    ]


def _verdicts(tables: StudyTables, facts: Facts) -> list[str]:
    """Say by which limits a difference between the sides was put down to sensor or gait."""
    if tables(GAIT, *VERDICT_COLUMNS)["verdict"].isna().all():
        return []
    v = facts.settings["verdict"]
    return [
        "Whether a difference between the sides is the gait's or the sensors' own was judged for each walk and gait "
        f"state with {v.minimum_strides} strides or more: an asymmetry is found where the whole 95 % interval lies "
        f"beyond {v.step_time_limit_percent:g} % (symmetry index of step time), "
        f"{v.phase_limit_deg:g}° (phase from 180°), "
        f"{v.amplitude_limit_percent:g} % (symmetry index of the range of motion in degrees), "
        f"{v.peak_timing_limit_percent:g} % of the stride (time of the swing peak) or {v.shape_limit:g} (1 minus the "
        "correlation of the knees' waves); it is not certain where the interval reaches back; and it is the sensors' "
        "where amplitudes differ as recorded, not in degrees, and the calibrated gains explain it. A value within its "
        "limit proves no symmetry: the asymmetry from which on a walk would have shown one is given beside it.",
    ]


def _bends(tables: StudyTables, facts: Facts) -> list[str]:
    bends = tables(KNEE_BENDS)
    if bends.empty:
        return []
    s = facts.settings["bends"]
    return [
        f"Knee bends (n = {len(bends)}) were found where a knee stood out of its own rest, for longer than a step "
        f"takes, with at least {100 * s.least_height_share:g} % of its highest flexion; one that stood still for "
        f"{s.held_at_least_s:g} s or more counts as a hold. The angle of a bend is the median of its plateau."
    ]


def _swallows(tables: StudyTables, facts: Facts) -> list[str]:
    summary = tables(SWALLOW_SUMMARY)
    counts = summary["swallow_count"].dropna()
    if counts.empty:
        return []
    s, c = facts.settings["swallow"], facts.settings["classify"]
    ways = {
        "out_of_fold": "in labelled participants by a classifier that never saw the person",
        "final": "in other participants by the stored classifier",
        "rule": "by a rule that needs no labels",
    }
    told = [words for way, words in ways.items() if (summary["prediction"] == way).any()]
    limits = []
    if summary["prediction"].isin(["out_of_fold", "final"]).any():
        limits.append(f"a probability of {c.swallow_probability_min:g}")
    if (summary["prediction"] == "rule").any():
        limits.append(f"a score of the rule of {s.generic_score:g}")
    text = (
        "Candidates of swallows were cut from the activity of the throat signal over its resting activity "
        f"[@boll1979; @jackson2005], one swallow taken to last about {s.typical_duration_s:g} s "
        f"[@molfentersteele2012]. They were told from other movements {listed(told)}; a candidate was called a "
        f"swallow from {listed(limits)} on. Onset and end are where its activity "
        f"passes {100 * s.edge_fraction:g} % of its largest [@flashhogan1985], corrected by ridge regression where "
        f"labels of other people gave intervals [@hoerlkennard1970]. {int(counts.sum())} swallows were found in "
        f"{counted(len(counts), 'recording')}. Rates have exact Poisson intervals [@garwood1936]."
    )
    volumes = summary["volume"].dropna()
    if len(volumes):
        text += (
            f" In timed water tests ({span(list(volumes))} ml, {counted(len(volumes), 'recording')}) volume and time "
            "per swallow and swallowing speed were taken over the drinking [@nathadwarawala1992; @hugheswiles1996]; "
            f"a swallow after a pause of {s.clearing_pause_s:g} s and of three usual intervals is no part of it "
            "[@vaiman2005]."
        )
        text += withheld_words(tables)
    return [f"{text} Counts and times of swallows do not show aspiration."]


def _labels(tables: StudyTables, facts: Facts) -> list[str]:
    labelled = [r for r in facts.recordings.values() if r.labels]
    if not labelled:
        return ["No recording was labelled by hand: nothing could be compared with a human rater."]
    raters: dict[str, int] = {}
    for recording in labelled:
        for rater in recording.labels:
            raters[rater] = raters.get(rater, 0) + 1
    by_rater = listed([f"{rater} {counted(n, 'recording')}" for rater, n in sorted(raters.items())])
    events = tables(EVENTS)
    pooled = events[(events["recording_id"] == "pooled") & (events["side"] == "all")]
    counts = pooled.groupby("trial_type")["n_labelled"].max()
    kinds = [f"{int(n)} {EVENT_TYPES[str(k)].plural}" for k, n in counts.items() if str(k) in EVENT_TYPES and n > 0]
    states = tables(STATES)
    time = states.loc[(states["recording_id"] == "pooled") & (states["trial_type"] == "all"), "labelled_seconds"].max()
    seconds = f" and {number_text(time / 60.0)} min of rest and gait states" if pd.notna(time) else ""
    text = (
        f"{len(labelled)} of {len(facts.recordings)} recordings were labelled by hand ({by_rater}); "
        f"{facts.reference_rater} is the reference. In the scored time {listed(kinds) or 'no events'}{seconds} were "
        "labelled. Only the types that a rater labelled in a recording are scored, and only in the spans declared "
        "as labelled, where a rater declared any. Normal and limping gait, the limping side, turns, initial "
        "contacts, toe-offs, knee bends, swallows and what may be taken for swallows (speech, coughs, head "
        "movements) were the vocabulary of the labels."
    )
    status = tables.recordings.set_index("recording_id")["status"]
    unused = sum(status.get(recording.recording_id) == "rejected" for recording in labelled)
    if unused:
        text += f" {counted(unused, 'labelled recording')} could not be used, and nothing was compared with its labels."
    twice = sum(len(recording.labels) > 1 for recording in labelled)
    if twice:
        text += f" {counted(twice, 'recording')} {'has' if twice == 1 else 'have'} labels of more than one rater."
    return [text]


def _card(card: Any) -> str:
    variants = card["variants"]
    families: dict[str, list[str]] = {}
    for variant in variants.values():
        families.setdefault(variant["family"], []).append(str(variant["setting"]))
    chosen = listed([f"{_FAMILIES.get(f, f)} ({', '.join(dict.fromkeys(s))})" for f, s in families.items()])
    features = span([float(len(v["features"])) for v in variants.values()])
    return f"{chosen}, on {features} features"


def _classifier(tables: StudyTables, facts: Facts) -> list[str]:
    bouts, c = tables(BOUTS), facts.settings["classify"]
    used = set(bouts.loc[bouts["trial_type"].isin(GAIT_STATES), "prediction"].dropna())
    said = []
    if used == {"rule"}:
        said.append(
            "Normal and limping gait were told apart without a classifier, by published limits: the longer swing "
            f"time over the shorter above {c.swing_ratio_limit:g} [@patterson2010], or a phase coordination index "
            f"above {c.coordination_limit_percent:g} % [@zadik2022; @plotnik2007] ({FALSE_ALARMS})."
        )
    card = facts.cards.get("gait")
    if card is not None and used - {"rule"}:
        f, d = facts.settings["features"], card["data"]
        folds = (
            "each participant was left out in turn"
            if d["participants"] <= c.leave_one_out_up_to
            else f"participants were split into {c.folds} folds"
        )
        windows = listed([f"{n} of {state.replace('_', ' ')}" for state, n in d["windows"].items()])
        text = (
            f"Normal gait, limping left and limping right were learnt from windows of {f.window_strides} strides "
            f"({windows}; {counted(d['participants'], 'participant')}, {number_text(d['labelled_time_s'] / 60.0)} "
            "labelled minutes), described by timing, shape and calibrated amplitude (`tables/features.tsv` of the "
            f"results gives every formula). The final model is {_card(card)}. The family was chosen from "
            f"{listed([_FAMILIES[name].split(' [')[0] for name in c.families])} as the simplest within one standard "
            f"error of the best [@breiman1984] in {c.inner_folds} inner folds of the training participants, which "
            f"calibrated the probabilities as well [@platt1999]. For testing, {folds}: scaling, choice of family, "
            f"settings and calibration saw none of a participant who was tested. A bout is at least {c.bout_min_s:g} "
            "s long. A window of one knee, or without a calibrated angle, was judged by a variant of the model that "
            "does without what is missing."
        )
        permutation = tables(EVIDENCE["permutation"])
        if len(permutation):
            p = permutation.iloc[0]
            text += (
                f" A permutation test exchanged the labels {int(p['permutations'])} times "
                f"({p_text(float(p['p_value']))}) [@phipsonsmyth2010]."
            )
        said.append(text)
    if card is not None and "company" in card:
        said.append(f"The classifier learnt as well from other people, none of whom was tested: {card['company']}.")
    if c.prevalence is not None and used - {"rule"}:
        said.append(
            f"Probabilities of limping were brought to an expected share of {100 * c.prevalence:g} % of the walking by "
            "the ratio of the prior odds [@saerens2002]."
            + (
                " Log loss, Brier score and calibration are of the probabilities before that, for the mix of the "
                "labelled walking; the states that were scored are those called after it."
                if "out_of_fold" in used
                else ""
            )
        )
    foreign = elsewhere_of(tables)
    if foreign is not None:
        said.append(
            f"No labels of this study taught the classifier: gait was called by a stored model {foreign.told}; "
            f"{foreign.beside}."
        )
    elif "final" in used:
        said.append(
            "Gait of participants without labels was called by the classifier of all labelled participants or of "
            "another study."
        )
    throat = facts.cards.get("swallow")
    if throat is not None:
        counts = listed([f"{name.replace('_', ' ')} {n}" for name, n in throat["data"]["movements"].items()])
        said.append(
            f"Movements of the throat ({counts}; {counted(throat['data']['participants'], 'participant')}) were "
            f"learnt in the same way, with {_card(throat)}. They are the movements that stood out from rest: a "
            "labelled event that never did teaches nothing, and counts as missed in the comparison of events."
        )
    return said


def statistics_text(tables: StudyTables, facts: Facts) -> list[str]:
    """Write the statistics of what was compared, and the software."""
    v, c = facts.settings["validate"], facts.settings["classify"]
    said = []
    events = tables(EVENTS)
    if len(events):
        kinds = set(events["trial_type"])
        contacts = listed([f"{t:g}" for t in v.contact_tolerances_s])
        overlaps = listed([f"{t:g}" for t in v.overlap_thresholds])
        centres = listed([f"{t:g}" for t in v.centre_tolerances_s])
        counts = []
        instants = [EVENT_TYPES[k].plural for k in ("initial_contact", "toe_off") if k in kinds]
        spans = [EVENT_TYPES[k].plural for k in ("swallow", "knee_bend") if k in kinds]
        if instants:
            counts.append(f"{listed(instants)} count within {contacts} s")
        if spans:
            counts.append(
                f"{listed(spans)} {'count ' if not instants else ''}with an overlap over union of at least {overlaps}, "
                f"or with centres within {centres} s"
            )
        text = (
            "Detected events were matched to labelled ones one to one, with most matches, then least distance "
            "[@jonkervolgenant1987]."
        )
        if counts:
            text += f" {counts[0][:1].upper()}{counts[0][1:]}{''.join(f'; {words}' for words in counts[1:])}."
        if events.loc[events["recording_id"] == "pooled", "f1_low"].notna().any():
            text += (
                " Precision, recall and F1 are pooled over participants, with 95 % intervals by resampling "
                f"participants ({v.bootstrap_draws} draws, bias-corrected and accelerated) [@davisonhinkley1997; "
                "@efron1987; @hesterberg2015]; those of a single recording are Wilson's [@wilson1927; @newcombe1998]."
            )
        else:
            text += (
                " Precision, recall and F1 are of too few participants for intervals; those of a single recording have "
                "Wilson's [@wilson1927; @newcombe1998]."
            )
        of_states, of_raters = tables(STATES)["measure"].eq("kappa").any(), tables(RATERS)["kappa"].notna().any()
        agreed = [name for name, there in (("labels", of_states), ("a second rater", of_raters)) if there]
        if agreed:
            text += f" Agreement in states with {listed(agreed)} is given by Cohen's kappa [@cohen1960]."
        said.append(text)
    if len(tables(PARAMETERS)) and tables(PARAMETERS)["loa_lower"].isna().all():
        said.append(
            "Measures of the pipeline were compared with the same measures from labels; there were too few pairs for "
            "limits of agreement or coefficients."
        )
    elif len(tables(PARAMETERS)):
        said.append(
            "Measures of the pipeline were compared with the same measures from labels by bias and 95 % limits of "
            f"agreement (bias ± {v.limits_multiplier:g} SD) [@blandaltman1986; @blandaltman1999], several values of "
            "a participant taken as repeated measures [@blandaltman2007] with intervals by variance recovery "
            "[@zou2013], by ICC(2,1) [@shroutfleiss1979] and by the concordance correlation coefficient [@lin1989]. "
            f"{unvalidated_words(tables(PARAMETERS), measure_words)}".rstrip()
        )
    if len(tables(RETEST)):
        said.append(
            "Reliability between sessions is given by ICC(2,1) and ICC(3,1) [@shroutfleiss1979] with F-based intervals "
            "[@mcgrawwong1996], the standard error of measurement and the minimal detectable change, t × √2 × SEM "
            "[@weir2005]; true change between the sessions counts as error."
        )
    if len(tables(CHANGE)):
        basis = sorted(set(tables(CHANGE)["error_basis"].dropna()))
        said.append(
            "A participant's change between sessions was called detectable beyond Student's t (two-sided, 0.05) "
            f"times the standard error of the change, the error taken from {listed(basis)}."
        )
    if len(tables(GROUPS)) and tables(GROUPS)["hedges_g"].notna().any():
        said.append(
            "Groups were compared by the difference of means with Welch's interval [@welch1947] and Hedges' g "
            "[@hedges1981] with the interval of the noncentral t distribution [@steigerfouladi1997]. No hypothesis "
            "was tested, and nothing was adjusted for age, sex or the number of comparisons."
        )
    scores = tables(EVIDENCE["classifier"])
    own = scores[
        (scores["scope"] == "pooled") & (scores["predictor"] == "classifier") & (scores["trial_type"] == "all")
    ]
    if len(own):
        said.append(
            "The classifier was scored by time on participants left out: balanced accuracy of normal against "
            "limping gait, log loss, Brier score and calibration, with 95 % intervals over participants "
            f"({c.bootstrap_resamples} resamples), beside rules without learning."
        )
    if len(tables(NORMS)):
        n = tables(NORMS)["source"].nunique()
        said.append(
            f"Values were laid beside {counted(n, 'published source')} (`validation/norms.tsv` of the results names "
            "each, and whether it was read or recalled); each source is an entry of `references.bib`. They are an "
            "orientation and no test."
        )
    changed = [
        f"{section}.{entry['name']} = {getattr(own, entry['name'])}"
        for section, own in facts.settings.items()
        for entry in describe(type(own)())
        if entry["value"] != getattr(own, entry["name"])
    ]
    settings = (
        f"Settings changed from their defaults were {listed(changed)}."
        if changed
        else "No setting was changed: all settings had their defaults."
    )
    packages = listed([f"{name} {number}" for name, number in sorted(facts.versions.items()) if name != "strainstudy"])
    said.append(
        f"All steps ran as one workflow, strainstudy {facts.versions.get('strainstudy', 'n/a')} "
        f"[@software_strainstudy], with {packages} [@snakemake2021; @numpy2020; @scipy2020; @pandas2010; "
        f"@sklearn2011; @matplotlib2007]. {settings} The same inputs give the same bytes; seeds "
        "are settings, and every input, setting and result is listed with its SHA-256 in `provenance/manifest.tsv`."
    )
    return said


OUTCOME_SECTIONS: Final[tuple[tuple[str, Callable[[StudyTables, Facts], list[str]]], ...]] = (
    ("Knee angle", _angles),
    ("Gait", _gait),
    ("Knee bends", _bends),
    ("Swallowing", _swallows),
    ("Labels", _labels),
    ("Classifiers", _classifier),
)
