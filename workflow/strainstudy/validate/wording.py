"""One sentence for each row of a validation table, so that nobody has to guess what a number means.

In: a row with its numbers. Out: plain words with n, value, unit and limits, for the column ``reading``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from ..vocabulary import EVENT_TYPES

__all__ = [
    "change_words",
    "confounder_words",
    "event_words",
    "group_words",
    "norm_words",
    "parameter_words",
    "rater_words",
    "retest_words",
    "state_words",
]

Row = Mapping[str, Any]

_STATES: Final = {"rest": "rest", "normal_gait": "normal gait", "limping_gait": "limping gait", "turn": "turn"}
_RULES: Final = {
    "time": "within {} s",
    "overlap": "with an overlap over union of at least {}",
    "centre": "with centres within {} s",
}


def _number(value: float) -> str:
    if value is None or not math.isfinite(value):
        return "n/a"
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value + 0.0:.3g}"


def _with_unit(value: float, unit: str | None) -> str:
    word = {"1": "", "percent": " %", "signal": " (unit of the signal)", "1/min": " per minute"}.get(
        unit or "1", f" {unit}"
    )
    return f"{_number(value)}{word}"


def _late(seconds: float) -> str:
    return f"{_number(1000 * abs(seconds))} ms {'late' if seconds >= 0 else 'early'}"


def _limits(row: Row, name: str) -> str:
    low, high = row.get(f"{name}_low", math.nan), row.get(f"{name}_high", math.nan)
    if not (math.isfinite(low) and math.isfinite(high)):
        return "no limits"
    return f"95 % limits {_number(low)} to {_number(high)}"


def _known(value: Any) -> bool:
    return value is not None and math.isfinite(value)


def _people(n: int) -> str:
    return f"{n} participant{'s' if n != 1 else ''}"


def _on(row: Row) -> str:
    return {"treadmill": " on a treadmill", "overground": " over ground"}.get(row.get("walkway") or "", "")


def event_words(row: Row) -> str:
    """Say how many labelled events were found, how many detected ones were false, and how late they came."""
    things = EVENT_TYPES[row["trial_type"]].plural
    side = "" if row["side"] == "all" else f"{row['side']} "
    rule = _RULES[row["criterion"]].format(_number(row["tolerance"]))
    text = (
        f"Of {row['n_labelled']} labelled {side}{things} {row['true_positive']} were found {rule} "
        f"(recall {_number(row['recall'])}, {_limits(row, 'recall')}); of {row['n_detected']} detected "
        f"{row['false_positive']} {'was' if row['false_positive'] == 1 else 'were'} not labelled "
        f"(precision {_number(row['precision'])}, {_limits(row, 'precision')})"
    )
    if math.isfinite(row["bias"]):
        text += f"; found ones came {_late(row['bias'])} on average"
    if math.isfinite(row["loa_lower"]):
        text += f", 95 of 100 between {_late(row['loa_lower'])} and {_late(row['loa_upper'])}"
    return f"{text}."


_CONFOUNDED: Final = {
    "all": "speech, coughs and head movements",
    "no_swallow": "all labelled time without swallows",
    "other": "time in which nothing was labelled",
}


def confounder_words(row: Row) -> str:
    """Say how often a confounder was taken for a swallow."""
    name = _CONFOUNDED.get(row["confounder"], str(row["confounder"]).replace("_", " "))
    false, stretches = row["n_false_swallows"], row["n_labelled"]
    text = (
        f"{false} false swallow{'s' if false != 1 else ''} in {_number(row['minutes'])} min of "
        f"{name}, {_number(row['false_per_minute'])} per minute ({_limits(row, 'false_per_minute')})"
    )
    if stretches is None:
        return f"{text}."
    return (
        f"{text}; {row['n_taken']} of {stretches} {'stretches were' if stretches != 1 else 'stretch was'} taken for a "
        "swallow."
    )


def state_words(row: Row) -> str:
    """Say what a state's value means."""
    state = _STATES.get(row["trial_type"], "")
    value = f"{_number(row['value'])} ({_limits(row, 'value')}; {_people(row['n_participants'])})"
    seconds = f"{_number(row['labelled_seconds'])} s"
    match row["measure"]:
        case "recall":
            return f"Share of the {seconds} labelled {state} that was detected as such: {value}."
        case "precision":
            return f"Share of the time detected as {state} that was labelled so: {value}."
        case "f1":
            return f"Harmonic mean of the two shares for {state}: {value}."
        case "side_right":
            return (
                f"Share of the {seconds} labelled as limping on a side that was detected as limping on it, what was "
                f"taken for a turn counting as missed: {value}."
            )
        case "kappa":
            return f"Agreement on {seconds} of rest, normal and limping gait beyond chance (1 = perfect): {value}."
        case _:
            which = (
                "normal and limping gait" if row["trial_type"] == "normal_against_limping" else "the labelled states"
            )
            return f"Mean share of right time over {which}, each counted alike, {seconds}: {value}."


def rater_words(row: Row) -> str:
    """Say how rater and pipeline compare."""
    other = row["other_rater"]
    if row["trial_type"] == "states":
        own, theirs, name = "pipeline_kappa", "kappa", "kappa"
        what = "states"
    else:
        own, theirs, name = "pipeline_f1", "f1", "F1"
        what = f"{EVENT_TYPES[row['trial_type']].plural} {_RULES[row['criterion']].format(_number(row['tolerance']))}"
    return (
        f"Against {row['reference_rater']}, {what}: {name} of the pipeline {_number(row[own])}, of {other} "
        f"{_number(row[theirs])}; {row['standing']} (pipeline minus rater: "
        f"{_limits(row, f'pipeline_minus_rater_{theirs}')}; {_people(row['n_participants'])})."
    )


def parameter_words(row: Row) -> str:
    """Say how far the pipeline's parameter lies from the labels'."""
    unit = row["unit"]
    text = (
        f"Pipeline minus labels: {_with_unit(row['bias'], unit)} on average ({_limits(row, 'bias')}; {row['n_pairs']} "
        f"pairs of {_people(row['n_participants'])})"
    )
    if math.isfinite(row["loa_lower"]):
        text += (
            f"; 95 of 100 differences are expected between {_number(row['loa_lower'])} and "
            f"{_with_unit(row['loa_upper'], unit)}"
        )
    if row.get("labelled_expected") is not None and math.isfinite(row["labelled_expected"]):
        text += (
            f"; two raters' contacts differ by {_number(1000 * row['rater_timing_sd'])} ms (SD), which makes "
            f"{_with_unit(row['from_rater_timing'], unit)} of itself and {_with_unit(row['labelled_expected'], unit)} "
            f"with the pipeline's values, where labels give {_with_unit(row['labelled_mean'], unit)}"
        )
        text += f": {row['validity']}" if row.get("validity") else ""
    return f"{text}."


def norm_words(row: Row) -> str:
    """Say where a value lies among one source's values."""
    known = {
        "yes": "read in the source",
        "quoted": "quoted in another text",
        "computed": "computed from the open data of the source",
    }.get(row["source_read"], row["source_read"])
    unit = row["unit"]
    value = _with_unit(row["value"], unit)
    low, high = row["published_low"], row["published_high"]
    if not (math.isfinite(low) or math.isfinite(high)):
        mean = _with_unit(row["published_mean"], unit)
        return f"{value}; published for {row['population']}: {mean} on average and no range for a person ({known})."
    if math.isfinite(low) and math.isfinite(high):
        span = f"{_number(low)} to {_with_unit(high, unit)}"
    else:
        span = f"up to {_with_unit(high, unit)}" if math.isfinite(high) else f"from {_with_unit(low, unit)} on"
    if row["position"] is None:
        why = "gives way to sources that were read" if str(row["source_read"]).startswith("from") else "are patients"
        return f"{value}; published for {row['population']}: {span} ({known}), which {why}: no position."
    if row["range_kind"] == "published cut-off":
        side = "on the side that the source calls not abnormal" if row["position"] != "below" else "on the other side"
        return (
            f"{value}; cut-off published from {row['population']}: {span} ({known}); the value is {side}; an "
            "orientation, no diagnosis."
        )
    return (
        f"{value} lies {row['position']} the published range for {row['population']}: {span} ({known}); an "
        "orientation, no diagnosis."
    )


def change_words(row: Row) -> str:
    """Say whether a change is more than its error explains."""
    change = _with_unit(abs(row["change"]), row["unit"])
    way = "no change" if row["change"] == 0 else f"{'up' if row['change'] > 0 else 'down'} by {change}"
    values = f"{_number(row['value'])} to {_with_unit(row['later_value'], row['unit'])}"
    sessions = f"From {row['session_id']} to {row['later_session_id']}{_on(row)} {values},"
    if row["exceeds"] is None:
        return f"{sessions} {way}; nothing was repeated, so its error is not known."
    reasons = {
        "repeat recordings within a session": "repeats explain",
        "sessions of the other people": "the other people's sessions differ",
        "spread within the recordings": "the limits of the two values explain, which leaves out day and sensor",
    }
    verdict = f"{'more' if row['exceeds'] else 'no more'} than {reasons[row['error_basis']]}"
    detectable = _with_unit(row["minimal_detectable_change"], row["unit"])
    if row["error_basis"] == "sessions of the other people":
        theirs = f"95 % limit by the changes of {row['error_freedom'] + 1} people: {detectable}"
        return f"{sessions} {way}: {verdict} ({theirs}); this is no error of measurement."
    limit = f"detectable from {detectable} on"
    if row["error_basis"] == "spread within the recordings" and _known(row.get("others_detectable_change")):
        alone = _with_unit(row["others_detectable_change"], row["unit"])
        limit += f"; by the other people's sessions alone from {alone} on"
    return f"{sessions} {way}: {verdict} ({limit})."


def retest_words(row: Row) -> str:
    """Say how well two sessions agree."""
    bias = _with_unit(row["bias"], row["unit"])
    if math.isnan(row["icc_agreement"]) and math.isnan(row["bias"]):
        return (
            f"In {_people(row['n_participants'])}{_on(row)} a single person's change is detectable from "
            f"{_with_unit(row['minimal_detectable_change'], row['unit'])} on; no mean and no ICC, for signs of left "
            "and right cancel, or pass for agreement."
        )
    return (
        f"In {_people(row['n_participants'])}{_on(row)} the later session differs by {bias} on average "
        f"({_limits(row, 'bias')}); ICC(2,1) {_number(row['icc_agreement'])} "
        f"({_limits(row, 'icc_agreement')}); a single person's change is detectable "
        f"from {_with_unit(row['minimal_detectable_change'], row['unit'])} on."
    )


def group_words(row: Row) -> str:
    """Say how two groups differ."""
    own = f"{row['group']} {_with_unit(row['mean'], row['unit'])} ({_limits(row, 'mean')}; {_people(row['n'])})"
    if row.get("other_group") is None:
        return f"Mean{_on(row)} of {own}."
    theirs = f"{row['other_group']} {_with_unit(row['other_mean'], row['unit'])} ({_people(row['other_n'])})"
    way = "higher" if row["difference"] > 0 else "lower" if row["difference"] < 0 else "neither higher nor lower"
    size = f", {_number(row['hedges_g'])} pooled SDs ({_limits(row, 'hedges_g')})" if _known(row["hedges_g"]) else ""
    gap = _with_unit(row["difference"], row["unit"])
    return (
        f"Mean{_on(row)} of {own}, of {theirs}: {row['group']} {way}, difference {gap} "
        f"({_limits(row, 'difference')}){size}."
    )
