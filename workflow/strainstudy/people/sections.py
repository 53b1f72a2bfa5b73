"""The parts of a person's page: each from `Facts` to HTML; empty text where there is nothing to say."""

from __future__ import annotations

from collections import Counter
from typing import Any, Final

import numpy as np
import pandas as pd

from ..gait.published_curve import PUBLISHED_CURVE_SOURCE, PUBLISHED_CURVE_WHOSE
from ..gait.verdict import verdict_words
from ..validate.unvalidated import unvalidated_words
from ..vocabulary import BODY_POINTS, GAIT_STATES, SIDES
from .facts import Facts, rows_of
from .figures import STATE_WORDS, bend_figure, curve_figure, swallow_strip, walk_figure
from .markup import Markup, figure, listed, paragraph, safe, several, table
from .measure_words import WALK_MEASURES, fixed, range_text, words_of
from .states import Walked, came_or_went
from .worn import faults_of, worn_at

__all__ = ["bends", "changes", "curves", "glance", "sensors", "shown_walks", "swallows", "walks"]

Row = dict[str, Any]

_MOST_COLUMNS: Final = 8
"""Walks by state that fit side by side on a sheet (ours)."""
_MOST_ON_A_LINE: Final = 4
"""Walks by state whose limits stand beside the value and not below it (ours)."""
_MOST_CHANGES: Final = 12
"""Changes that are listed, for two sheets to be enough (ours)."""
_MOST_SWALLOW_ROWS: Final = 8
"""Likewise recordings of a throat."""
_MOST_FAULTS: Final = 8
"""Likewise faults."""
_DECIDED: Final = {
    "out_of_fold": "by a classifier that never saw this person",
    "final": "by the stored classifier",
    "rule": "by the rule that needs no labels, which calls about one healthy person in twelve limping",
}
_BASIS: Final = {
    "repeat recordings within a session": "repeats explain",
    "sessions of the other people": "the other people's sessions differ",
    "spread within the recordings": "the spread within the recordings explains, which leaves out day and sensor",
}


def _with_limits(text: str, limits: str) -> Markup:
    return Markup(f"{safe(text)}<small>{safe(limits)}</small>" if limits else safe(text))


def _walked(facts: Facts, session: str) -> str:
    bouts = facts.of("bouts", session)
    if bouts.empty:
        return "no walk recorded"
    words = []
    for state in ("normal_gait", "limping_gait", "gait", "turn"):
        own = bouts[bouts["trial_type"] == state]
        if own.empty:
            continue
        seconds = float(own["duration"].sum())
        sides = own.groupby("limping_side")["duration"].sum() if state == "limping_gait" else pd.Series(dtype=float)
        where = f" on the {listed(sorted(map(str, sides.index)))}" if len(sides) else ""
        words.append(f"{STATE_WORDS[state]}{where} {seconds:.0f} s")
    return ", ".join(words) or "no walking found"


def _verdicts(facts: Facts, session: str) -> str:
    said: dict[str, list[str]] = {}
    for row in rows_of(facts.of("gait", session)):
        if isinstance(row["verdict"], str):
            side = f", {row['verdict_side']} side" if isinstance(row["verdict_side"], str) else ""
            walk = f"{facts.short(row['recording_id'])} {STATE_WORDS[row['trial_type']]}"
            said.setdefault(f"{verdict_words(row)}{side}", []).append(walk)
    return "; ".join(f"{verdict} ({', '.join(walked)})" for verdict, walked in said.items()) or "\u2013"


def _swallowed(facts: Facts, session: str) -> str:
    said = []
    for row in rows_of(facts.of("summary", session)):
        rate = f"{fixed(row['rate'], 1)} per min"
        said.append(f"{facts.short(row['recording_id'])}: {int(row['swallow_count'])}, {rate}")
    return "; ".join(said) or "no throat recorded"


def _recorded(facts: Facts, session: str) -> str:
    status = facts.of("recordings", session)["status"]
    odd = Counter(word for word in status if word != "good")
    words = ", ".join(f"{n} {word}" for word, n in sorted(odd.items()))
    return f"{several(len(status), 'recording')}{f', {words}' if words else ', all good'}"


def glance(facts: Facts) -> str:
    """Sessions side by side in a few words, and what changed."""
    lines = [
        ("Recorded", _recorded),
        ("Walking found", _walked),
        ("Asymmetry: sensor or gait?", _verdicts),
        ("Swallows found", _swallowed),
    ]
    rows = [[title, *(write(facts, session) for session in facts.sessions)] for title, write in lines]
    text = table(["", *facts.sessions], rows)
    change = facts.tables["change"]
    if len(change):
        n = int(change["exceeds"].fillna(value=False).astype(bool).sum())
        many = f"{n} of {several(len(change), 'measure')}" if n else f"None of {several(len(change), 'measure')}"
        text += paragraph(f"{many} changed by more than the error: see the end.")
    text += _states_of_gait(facts)
    faults = faults_of(facts)
    if faults:
        text += paragraph(f"{several(len(faults), 'fault')} of sensors or recordings: see Sensors worn.", "fault")
    return text


def _seconds(facts: Facts, session: str) -> Walked:
    own = facts.of("bouts", session)
    normal, limping = (float(own.loc[own["trial_type"] == state, "duration"].sum()) for state in GAIT_STATES)
    return session, normal, limping


def _states_of_gait(facts: Facts) -> str:
    """Tell of a state of gait that came or went, which no measure does; nothing where none did."""
    told = came_or_went([_seconds(facts, session) for session in facts.sessions])
    if not told:
        return ""
    words = "; ".join(told)
    return paragraph(
        f"{words[:1].upper()}{words[1:]}. Measures are compared within one state of gait, so that none of them tells "
        "of this change.",
        "fault",
    )


def curves(facts: Facts) -> str:
    """Knee angle over the stride."""
    drawn = curve_figure(facts)
    if drawn is None:
        if facts.tables["gait"].empty:
            return ""
        return paragraph("No knee angle over the stride: no knee of a walk has a calibrated angle.")
    words = (
        "Mean and one SD between steady strides, from an initial contact to the next of the same side; left knee "
        f"solid, right knee dashed. Grey: mean of {PUBLISHED_CURVE_WHOSE} ({PUBLISHED_CURVE_SOURCE}): an orientation, "
        "no range of healthy adults. A curve that lies higher or lower as a whole may be the calibration's zero; a "
        "shape that differs is more likely the gait."
    )
    return figure(drawn, words)


def shown_walks(facts: Facts) -> pd.DataFrame:
    """Choose the walks by state that are shown: of each session and state in turn, until there is no room."""
    keys = ["session", "recording_id", "trial_type"]
    own = facts.tables["gait"]
    own = own[own["session"].isin(facts.sessions)].sort_values(keys)
    walked = {recording.recording_id for recording in facts.recordings if recording.task == "walk"}
    aside = ~own["recording_id"].isin(walked)
    turn = own.loc[aside.sort_values(kind="stable").index].groupby(["session", "trial_type"]).cumcount()
    chosen = turn.sort_values(kind="stable").index[:_MOST_COLUMNS]
    kept: pd.DataFrame = own.loc[chosen].sort_values(keys)
    return kept


def walks(facts: Facts) -> str:
    """Show walks over time, and gait measures side by side."""
    drawn = walk_figure(facts)
    if drawn is None:
        return ""
    figure_text, more = drawn
    words = (
        "Spans: rest grey, normal gait blue, limping orange (L, R: on which side), turn pink. Strokes: initial "
        "contacts, left at the head, right at the foot of a span. The name of a walk leads to its signals and labels."
    )
    words += f" {several(more, 'walk')} more: see the report." if more else ""
    gait = facts.tables["gait"]
    rows = rows_of(shown_walks(facts))
    text = figure(figure_text, words)
    if not rows:
        return text + paragraph("Too few steady strides to measure.")
    header = [
        Markup(f"{safe(r['session'])}<br>{safe(facts.short(r['recording_id']))}<br>{STATE_WORDS[r['trial_type']]}")
        for r in rows
    ]
    strides = [f"{r['n_strides_left']} + {r['n_strides_right']}" for r in rows]
    lines: list[list[object]] = [["Strides used, left + right", *strides, ""]]
    published = _published(facts)
    for name in WALK_MEASURES:
        m = words_of(name)
        cells = [
            _with_limits(
                fixed(r[name], m.decimals, m.factor),
                range_text(r[f"{name}_low"], r[f"{name}_high"], m.decimals, m.factor),
            )
            for r in rows
        ]
        if any(pd.notna(r[name]) for r in rows):
            lines.append([f"{m.title} ({m.unit})", *cells, published.get(name, "")])
    look = "measures" if len(rows) > _MOST_ON_A_LINE else "measures beside"
    text += table(["", *header, "published, healthy"], lines, range(1, len(rows) + 2), look)
    notes = [
        "Small: 95 % interval of the usual value that day; of published values how many sources give ranges (95 of "
        "100 people) it spans them, an orientation. Right against left: (right \u2212 left) / mean of both; 0 is even."
    ]
    coarse = unvalidated_words(facts.tables["parameters"], lambda name: words_of(name).title)
    notes += [coarse] if coarse else []
    decided = sorted({str(r["prediction"]) for r in rows if isinstance(r["prediction"], str)})
    if decided:
        notes.append(f"Gait states were decided {listed(_DECIDED.get(word, word) for word in decided)}.")
    trained = sorted({str(r["trained"]) for r in rows if isinstance(r.get("trained"), str)})
    if trained:
        shares = [
            f"{r['session']} {facts.short(r['recording_id'])} ({STATE_WORDS[r['trial_type']]}) "
            f"{100 * r['rule_limping_share']:.0f} %"
            for r in rows
            if pd.notna(r["rule_limping_share"])
        ]
        beside = f" Of the strides the published rule calls limping: {listed(shares)}." if shares else ""
        notes.append(f"That classifier was {listed(trained)}.{beside}")
    if len(gait) > len(rows):
        notes.append(f"{len(gait) - len(rows)} more columns are in tables/gait.tsv.")
    text += paragraph(" ".join(notes), "how")
    few = [r for r in rows if isinstance(r["warning"], str)]
    if few:
        which = listed(f"{r['session']} {facts.short(r['recording_id'])} ({STATE_WORDS[r['trial_type']]})" for r in few)
        text += paragraph(f"Few steady strides, so that variability is not stable: {which}.", "fault")
    return text


def _published(facts: Facts) -> dict[str, Markup]:
    """Write for each measure the span of the published ranges that the norms of this study place the person by."""
    norms = facts.tables["norms"]
    own = norms[norms["counts"].fillna(value=False).astype(bool)]
    own = own.dropna(subset=["published_low", "published_high"]).drop_duplicates(["measure", "source"])
    ranges: dict[str, list[Row]] = {}
    for row in rows_of(own):
        ranges.setdefault(row["measure"], []).append(row)
    said = {}
    for measure, rows in ranges.items():
        m = words_of(measure)
        ends = min(row["published_low"] for row in rows), max(row["published_high"] for row in rows)
        said[measure] = _with_limits(range_text(*ends, m.decimals, m.factor), several(len(rows), "source"))
    return said


def bends(facts: Facts) -> str:
    """Measured against held angles."""
    drawn = bend_figure(facts)
    bent = facts.tables["bends"]
    if drawn is None:
        if bent.empty:
            return ""
        return paragraph(
            f"{several(len(bent), 'bend')} found; no hold at a known angle was labelled, or no knee has degrees."
        )
    words = []
    for session in facts.sessions:
        for side in SIDES:
            own = facts.holds[(facts.holds["session"] == session) & (facts.holds["side"] == side)]
            off = (own["angle"] - own["nominal"]).dropna().to_numpy(dtype=float)
            if off.size:
                worst = off[np.abs(off).argmax()]
                mean = f"on average {fixed(off.mean(), 1)}\u00b0 off"
                words.append(f"{session} {side}: {several(off.size, 'hold')}, {mean}, at most {fixed(worst, 1)}\u00b0")
    text = f"{'; '.join(words)}. "
    sources = {str(source) for source in facts.tables["calibrations"]["source"].dropna()}
    if "holds" in sources:
        text += _made_map(facts)
    text += "Holds of the straight leg are no bends, and are not drawn."
    return figure(drawn, text)


def _made_map(facts: Facts) -> str:
    """Say which of the holds shown made the map, and so agree better than they would otherwise."""
    bent = {recording.recording_id for recording in facts.recordings if recording.task == "bend"}
    shown = facts.holds[facts.holds["session"].isin(facts.sessions) & facts.holds["angle"].notna()]
    aside = int((~shown["recording_id"].isin(bent)).sum())
    if not aside:
        return "These holds also made the map to degrees, so they agree better than other movements will. "
    if aside == len(shown):
        return "None of these holds made the map to degrees. "
    return (
        f"Those of bend recordings also made the map to degrees, so they agree better than other movements will; "
        f"{several(aside, 'hold')} of other recordings made none. "
    )


def swallows(facts: Facts) -> str:
    """Swallows by recording, with a line of time."""
    summary = facts.tables["summary"]
    own = summary[summary["session"].isin(facts.sessions)].sort_values(["session", "recording_id"])
    if own.empty:
        return ""
    recordings = facts.tables["recordings"].set_index("recording_id")
    seconds = {name: float(recordings.loc[name, "duration"]) for name in own["recording_id"]}
    longest = max(seconds.values())
    lines, noted = [], []
    for row in rows_of(own)[:_MOST_SWALLOW_ROWS]:
        name = row["recording_id"]
        limits = range_text(row["rate_low"], row["rate_high"], 1)
        strip = Markup(swallow_strip(facts, name, seconds[name], longest))
        if isinstance(row["sensor_note"], str):
            noted.append(f"{row['session']} {facts.short(name)}: {row['sensor_note']}")
        lines.append(
            [
                row["session"],
                facts.short(name),
                int(row["swallow_count"]),
                _with_limits(fixed(row["rate"], 1), limits),
                fixed(row["duration_mean"], 2),
                fixed(row["interval_mean"], 1),
                _drunk(row),
                strip,
            ]
        )
    header = [
        "session", "recording", "swallows", "per min", "lasting (s)", "interval (s)", "drunk",
        f"over time, 0 to {longest:.0f} s",
    ]  # fmt: skip
    text = table(header, lines, range(2, 6))
    decided = sorted({str(word) for word in own["prediction"].dropna()})
    words = "Small: 95 % limits of a Poisson count."
    if decided:
        ways = {**_DECIDED, "rule": "by the rule that needs no labels"}
        words += f" Movements of the throat were judged {listed(ways.get(word, word) for word in decided)}."
    if len(own) > len(lines):
        words += f" {len(own) - len(lines)} more recordings are in tables/swallow_summary.tsv."
    words += " A normal count does not mean safe swallowing; aspiration does not show."
    text += paragraph(words, "how")
    return text + (paragraph(f"Doubtful seat or limits: {'; '.join(noted)}.", "fault") if noted else "")


def _drunk(row: Row) -> Markup:
    if pd.isna(row["volume"]):
        return Markup("\u2013")
    if pd.isna(row["volume_per_swallow"]):
        return _with_limits(f"{fixed(row['volume'], 0)} ml", "per swallow not given")
    each, speed = fixed(row["volume_per_swallow"], 1), fixed(row["swallowing_speed"], 1)
    return _with_limits(f"{fixed(row['volume'], 0)} ml", f"{each} ml per swallow, {speed} ml/s")


def sensors(facts: Facts) -> str:
    """Sensors by place and session, and every fault."""
    rows = [
        [point.replace("_", " "), *(worn_at(facts, session, point) for session in facts.sessions)]
        for point in BODY_POINTS
    ]
    text = table(["", *facts.sessions], [row for row in rows if any(cell != "\u2013" for cell in row[1:])])
    worn: dict[str, set[str]] = {}
    for row in rows:
        worn[row[0]] = {cell.split(";")[0].split(",")[0] for cell in row[1:]} - {"\u2013"}
    if any(len(names) > 1 for names in worn.values()):
        text += paragraph(
            "Not the same sensors in all sessions: amplitudes of the sessions compare in degrees only.", "how"
        )
    faults = faults_of(facts)
    if not faults:
        return text + paragraph("No fault of a sensor or recording was found.")
    text += "".join(paragraph(words, "fault") for words in faults[:_MOST_FAULTS])
    more = len(faults) - _MOST_FAULTS
    return text + (paragraph(f"{more} more: see tables/recordings.tsv.", "how") if more > 0 else "")


def changes(facts: Facts) -> str:
    """Tell changes beyond their error with what they mean, and the others by name."""
    change = facts.tables["change"]
    if change.empty:
        words = "One session: no change to speak of." if len(facts.all_sessions) == 1 else "No measure in two sessions."
        return paragraph(words)
    known = change["exceeds"].notna()
    beyond = change[known & change["exceeds"].fillna(value=False).astype(bool)]
    ratio = (beyond["change"].abs() / beyond["minimal_detectable_change"]).astype(float)
    beyond = beyond.loc[ratio.sort_values(ascending=False, kind="stable").index]
    pairs = sorted({f"{r['session_id']} to {r['later_session_id']}" for r in rows_of(change)})
    lines = [_change_line(row, several_pairs=len(pairs) > 1) for row in rows_of(beyond)[:_MOST_CHANGES]]
    text = paragraph(
        f"From {listed(pairs)}, beyond the error of such a change: {len(beyond)} of {int(known.sum())} measures whose "
        f"error is known. {_by_chance(change[known])} More or less of a measure is said, not whether that is good."
    )
    if lines:
        header = ["measure", "earlier", "later", "change", "detectable from", "what it means"]
        text += table(header, lines, range(1, 5), "beside")
        bases = sorted({_BASIS.get(str(word), str(word)) for word in beyond["error_basis"]})
        text += paragraph(f"Small: 95 % limits of the change. Each is more than {listed(bases)}.", "how")
    if len(beyond) > len(lines):
        text += paragraph(f"{len(beyond) - len(lines)} more are in tables/change.tsv.", "how")
    for rows, words in (
        (change[known & ~change.index.isin(beyond.index)], "no more than the error"),
        (change[~known], "with an error that is not known"),
    ):
        if len(rows):
            titles = dict.fromkeys(_plain_title(row) for row in rows_of(rows))
            text += paragraph(f"Changed {words}, {len(rows)}: {'; '.join(titles)}.", "how")
    return text


def _by_chance(known: pd.DataFrame) -> str:
    """Say how many changes would be beyond their error if nothing had changed, as far as the errors tell."""
    nominal = known["error_basis"] == "sessions of the other people"
    wider = (known["error_basis"] == "spread within the recordings") & known["others_detectable_change"].notna()
    lacking = int((~nominal & ~wider).sum())
    if lacking:
        return f"How many would be with no change at all is not known: the error of {lacking} lacks day and sensor."
    if not wider.any():
        return "With no change at all, about 1 in 20 would be."
    return (
        f"With no change at all, about 1 in 20 would be at most, and fewer of {int(wider.sum())}: the limits of their "
        "values count the error of each session anew, and are wider than the other people's sessions differ."
    )


def _plain_title(row: Row) -> str:
    """Name a measure whatever its side, to stand in a sentence."""
    title = words_of(row["measure"], row["unit"]).title.removesuffix(", left").removesuffix(", right")
    return title[0].lower() + title[1:]


def _change_line(row: Row, *, several_pairs: bool) -> list[object]:
    m = words_of(row["measure"], row["unit"])
    state = f", {STATE_WORDS[row['trial_type']]}" if row["trial_type"] in STATE_WORDS else ""
    state += f", {row['walkway']}" if isinstance(row["walkway"], str) else ""
    pair = f" ({row['session_id']} to {row['later_session_id']})" if several_pairs else ""
    rise = "+" if row["change"] > 0 else ""
    meaning = m.up if row["change"] > 0 else m.down
    # a change that is told from zero needs its last digit to be seen
    decimals = m.decimals + 1 if abs(row["change"] * m.factor) < 10 ** (1 - m.decimals) else m.decimals
    return [
        f"{m.title}{f' ({m.unit})' if m.unit else ''}{state}{pair}",
        fixed(row["value"], decimals, m.factor),
        fixed(row["later_value"], decimals, m.factor),
        _with_limits(
            rise + fixed(row["change"], decimals, m.factor),
            range_text(row["change_low"], row["change_high"], decimals, m.factor),
        ),
        fixed(row["minimal_detectable_change"], decimals, m.factor),
        meaning,
    ]
