"""Methods and statistics of a paper, written from what ran, in sentences that can be pasted.

In: the result tables and the `Facts` of a study. Out: Markdown with citations as ``[@key]`` of ``references.bib``.
What the pipeline cannot know stands in a list of its own at the end. Sections are functions of tables and facts; a
section that a study has no data for is left out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Final

import pandas as pd

from ..records import Sensor
from ..report.content import number_text
from ..report.methods import CONDITION_STEPS
from ..report.results import StudyTables, usable_minutes
from ..tables.sensors import BENCH_CYCLES, BENCH_STEPS, RECORDINGS_DIFFER, SENSOR_HEALTH, SENSORS
from ..vocabulary import BENCH_POINTS, BENCH_TASKS, SIDE_OF_POINT
from .facts import Facts
from .methods_outcomes import OUTCOME_SECTIONS, statistics_text
from .prose import counted, listed, span

__all__ = ["AUTHORS_ADD", "methods_text"]

_STEP_SOURCES: Final = {
    "find_spikes": " [@hampel1974; @daviesgather1993]",
    "bridge_gaps": " [@fritschcarlson1980]",
    "remove_hum": " [@welch1967]",
    "lowpass": " [@winter2009]",
    "resting_drift": " [@whittaker1923; @eilers2003]",
}
_OF_A_RECORDING: Final = re.compile(r"[\d.]+ \([^)]*\) in [^\s;]+")
"""A gauge factor with its interval in one recording, as a note has it (`bench.characterise`)."""
AUTHORS_ADD: Final = (
    ("Ethics", "the committee, the number of its approval, and that participants gave written informed consent"),
    ("Recruitment", "where, when and how participants were found; inclusion and exclusion criteria; who declined"),
    ("Sample size", "how the number of participants was chosen"),
    ("Clinical description", "diagnosis, time since onset, clinical scales, walking aids and orthoses used"),
    ("Materials", "what the sensors are made of, how they were made, how they were fixed to skin or sleeve"),
    ("Instruments", "make and model of amplifier, converter, bench, reference instrument and camera, with their ranges "
     "and the date of calibration"),
    ("Tasks", "distance, surface, footwear, pace and instruction of walking; how holds of the knee were set and read; "
     "what was swallowed, how much and on which command; rest between trials; interval between the sessions"),
    ("Labels", "who the raters are, their training, what they saw (film, signal), whether they were blind to group, to "
     "the detector and to each other, and by what mark film and signal were aligned"),
    ("Treatment", "what was done to participants between the sessions, if anything"),
    ("Comparisons", "which outcomes were primary and fixed beforehand; tests, corrections for several comparisons and "
     "adjustment for age or sex are not made by the pipeline"),
    ("Missing data", "why recordings or sessions are missing, beyond what the table of the flow of recordings says"),
    ("Safety", "adverse events, such as skin irritation, falls or coughing while drinking"),
    ("Declarations", "registration, protocol, funding, interests, and where data and code can be had"),
)  # fmt: skip


def _participants(tables: StudyTables, facts: Facts) -> list[str]:
    people = list(facts.participants.values())
    if not people:
        return []
    groups = [person.group for person in people]
    by_group = [f"{groups.count(g)} {g or 'without a group'}" for g in sorted(set(groups), key=str)]
    said = [
        f"{counted(len(people), 'participant')} took part ({listed(by_group)}); `tables/participants` describes them."
    ]
    ages = [person.age for person in people if person.age is not None]
    if ages:
        spread = f" (SD {number_text(pd.Series(ages).std())})" if len(ages) > 1 else ""
        said.append(
            f"Their mean age was {number_text(sum(ages) / len(ages))}{spread} years, range {span(ages)}."
            if len(ages) > 1
            else f"The age of one was {number_text(ages[0])} years."
            if len(people) > 1
            else f"Age was {number_text(ages[0])} years."
        )
    recordings = tables.recordings
    body = recordings[~recordings["task"].isin(BENCH_TASKS)]
    sessions = body.groupby("participant_id")["session_id"].nunique()
    tasks = [f"{n} of task {task}" for task, n in body["task"].value_counts(sort=False).sort_index().items()]
    status = body["status"]
    used = body[status != "rejected"]
    if len(sessions) and len(used):
        walkways = sorted({r.walkway for r in facts.recordings.values() if r.walkway and r.task == "walk"})
        walked = {"overground": "overground", "treadmill": "on a treadmill"}
        if walkways:
            said.append(f"They walked {listed([walked[name] for name in walkways])}.")
        said.append(
            f"Each came for {span([float(n) for n in sessions])} session{'s' if sessions.max() > 1 else ''}; "
            f"{counted(len(body), 'recording')} were "
            f"made ({listed(tasks)}), of which {int((status == 'rejected').sum()) or 'none'} could not be used and "
            f"{int((status == 'degraded').sum()) or 'none'} used although degraded; "
            f"{number_text(usable_minutes(body))} minutes were analysed, gaps left out (`tables/flow`)."
        )
    return [" ".join(said)]


def _bridge(sensors: Sequence[Sensor]) -> str:
    worn = [s for s in sensors if s.excitation_v is not None]
    if not worn:
        return ""
    gains = span([s.amplifier_gain for s in worn])
    trimmed = sum(s.r2_ohm is None for s in worn)
    zero = f"; {counted(trimmed, 'bridge')} trimmed to zero output at rest" if trimmed else ""
    arms = [ohm / 1000.0 for s in worn for ohm in (s.r1_ohm, s.r2_ohm, s.r3_ohm) if ohm is not None]
    fixed = f", fixed arms of {span(arms, ' kΩ')}" if arms else ""
    return (
        "Each sensor was one arm of a Wheatstone bridge supplied with "
        f"{span([abs(s.excitation_v or 0.0) for s in worn])} V{fixed}, amplified {gains} times{zero}."
    )


def _sensors(tables: StudyTables, facts: Facts) -> list[str]:
    places: dict[str, set[str]] = {}
    used: set[str] = set()
    for recording in facts.recordings.values():
        for channel in recording.channels:
            sensor = channel.sensor_id or recording.sensor_id
            used |= {sensor} if sensor else set()
            if sensor and channel.tracked_point not in BENCH_POINTS:
                where = "knees" if channel.tracked_point in SIDE_OF_POINT else channel.tracked_point
                places.setdefault(where, set()).add(sensor)
    own = [sensor for name, sensor in facts.sensors.items() if name in used]
    if not own:
        rates = tables.recordings.loc[tables.recordings["status"] != "rejected", "sampling_frequency"].dropna()
        at = f", sampled at {span(list(rates), ' Hz')}" if len(rates) else ""
        return [f"Knee angles were recorded in degrees{at}."] if tables.angles_as_recorded else []
    worn = [f"{len(ids)} over the {where}" for where, ids in sorted(places.items())]
    were = "was" if len(own) == 1 else "were"
    said = [
        f"{counted(len(own), 'piezoresistive strain sensor')} {were} used" + (f", {listed(worn)}." if worn else ".")
    ]
    lengths = [s.gauge_length_mm for s in own if s.gauge_length_mm is not None]
    health = tables(SENSOR_HEALTH)
    rest = health.loc[(health["measure"] == "rest_resistance") & health["value"].notna(), "value"] / 1000.0
    stated = [s.rest_ohm / 1000.0 for s in own if s.rest_ohm is not None]
    facts_said = [f"their gauge length was {span(lengths)} mm"] if lengths else []
    if len(rest) or stated:
        facts_said.append(f"their resistance at rest {span(list(rest) or stated)} kΩ")
    rates = tables.recordings.loc[tables.recordings["status"] != "rejected", "sampling_frequency"].dropna()
    if len(rates):
        facts_said.append(f"signals were sampled at {span(list(rates), ' Hz')}")
    if facts_said:
        said.append(f"{facts_said[0][:1].upper()}{facts_said[0][1:]}" + "".join(f"; {w}" for w in facts_said[1:]) + ".")
    said.append(_bridge(own))
    return [" ".join(filter(None, said))]


def _bench(tables: StudyTables, facts: Facts) -> list[str]:
    sensors, cycles, steps = tables(SENSORS), tables(BENCH_CYCLES), tables(BENCH_STEPS)
    if sensors.empty:
        return []
    s = facts.settings["bench"]
    own = sensors["strain_full_scale"].dropna()
    parts = [f"{span(list(sensors['n_cycles'].dropna().astype(float)))} settled cycles of full amplitude"]
    if len(steps):
        parts.append(
            f"{span(list(sensors['n_steps'].dropna().astype(float)))} steps with holds of "
            f"{span(list(steps['duration']), ' s', 2)}"
        )
    if (cycles["kind"] == "tap").any():
        parts.append(f"{span(list(sensors['n_taps'].dropna().astype(float)))} local taps")
    first = "cycle" if s.conditioning_cycles == 1 else f"{s.conditioning_cycles} cycles"
    settled = f"The first {first} of each run was left out. " if s.conditioning_cycles else ""
    ranges = f"; the strain range was {span(list(own))} %" if len(own) else ""
    return [
        f"On the bench {counted(len(sensors), 'sensor')} went through {listed(parts)} each{ranges}. "
        f"{settled}Relative resistance change was read against the reference's strain. Non-linearity is the largest "
        "deviation of the mean of both branches from the line through its ends, and a single gauge factor is given "
        f"up to {number_text(s.single_gauge_factor_limit_percent, 2)} % of full scale where the recordings of the "
        "sensor agree within their intervals or 5 %; hysteresis is the largest "
        "difference of the branches of a cycle over its span [@iec61298], after the delay between the two records "
        "was removed [@visintin1994; @brokatesprekels1996]; repeatability is two standard deviations of readings at "
        "one strain from one direction. Response time is 10 to 90 % of a first-order answer to the step as the "
        "bench made it; creep, the change during a hold, was fitted with exponentials [@golubpereyra1973]. The "
        "detection limit is the strain that gives three times the noise floor [@longwinefordner1983]. Intervals "
        "allow for correlated cycles [@bayleyhammersley1946] (`tables/sensors`). Resistance at rest, gauge factor "
        f"and noise were followed over the study on control charts [@iso7870].{_apart(sensors)}"
    ]


def _apart(sensors: pd.DataFrame) -> str:
    """Name the sensors whose recordings differ, with what each gives."""
    apart = sensors[sensors["warning"].astype(str).str.contains(RECORDINGS_DIFFER, regex=False)]
    return "".join(
        f" Of sensor {row['sensor_id']} no single gauge factor, nor what rests on it, is given, as its recordings "
        f"differ beyond their intervals{_each(str(row['gauge_factor_note']))}."
        for row in apart.to_dict("records")
    )


def _each(note: str) -> str:
    """Take the values of the recordings out of a note on the gauge factor."""
    values = _OF_A_RECORDING.findall(note)
    return f": {listed(values)}" if values else ""


def _signals(tables: StudyTables, facts: Facts) -> list[str]:
    ingest, s = facts.settings["ingest"], facts.settings["condition"]
    steps = [f"{words}{_STEP_SOURCES.get(name, '')}" for name, words in CONDITION_STEPS.items()]
    kinds = {
        "knees": f"{number_text(s.knee_lowpass_hz, 2)} Hz for knees",
        "throat": f"{number_text(s.throat_lowpass_hz, 2)} Hz for the throat",
        "bench": f"{number_text(s.bench_lowpass_hz, 2)} Hz on the bench",
    }
    cutoff = (
        listed([words for kind, words in kinds.items() if kind in tables.recorded])
        if s.cutoff == "fixed"
        else "chosen for each trace by residual analysis"
    )
    return [
        "Raw files were brought to a uniform time grid, and gaps, repeated and backward time stamps, saturated "
        "samples and unplugged channels were counted. A channel was left out if more than "
        f"{100 * ingest.rejected_fraction:g} % of it was missing or saturated; a recording with more than "
        f"{100 * ingest.degraded_missing:g} % missing samples counts as degraded. Bridge output, where volts were "
        "recorded, was turned into resistance by the exact inverse of the bridge equation, and into relative "
        "resistance change. Signals were "
        f"then, in this order, {listed(steps)}. The low-pass cutoff was {cutoff}; spikes were samples more than "
        f"{s.spike_threshold:g} scaled median absolute deviations from the median around them; gaps of at most "
        f"{s.gap_bridge_s:g} s were bridged."
    ]


_SECTIONS: Final[tuple[tuple[str, Callable[[StudyTables, Facts], list[str]]], ...]] = (
    ("Participants and recordings", _participants),
    ("Sensors and electronics", _sensors),
    ("Bench characterisation", _bench),
    ("Signal processing", _signals),
    *OUTCOME_SECTIONS,
)


def methods_text(tables: StudyTables, facts: Facts) -> str:
    """Write the methods.

    Parameters
    ----------
    tables : StudyTables
    facts : Facts

    Returns
    -------
    str
        Markdown: Methods, Statistics, and what the authors must add.
    """
    parts = ["# Methods"]
    for title, section in _SECTIONS:
        paragraphs = section(tables, facts)
        if paragraphs:
            parts += [f"## {title}", *paragraphs]
    parts += ["# Statistics", *statistics_text(tables, facts)]
    parts += [
        "# What the authors must add",
        "The pipeline cannot know the following. Keys such as `[@weir2005]` are those of `references.bib`.",
    ]
    parts.append("\n".join(f"- **{title}**: {words}." for title, words in AUTHORS_ADD))
    return "\n\n".join(parts) + "\n"
