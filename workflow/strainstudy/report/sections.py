"""The sections of the page in reading order, each from the tables it needs and none where a study has nothing for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import pandas as pd

from ..io.store import Trace
from .bench_figures import calibration_figure, health_figure, sensor_figures
from .content import Block, Maker, Note, Picture, Section, Table, Text, interval_text, number_text, table_of
from .methods import methods_blocks
from .people_figures import change_figure, gait_figure, norms_figure, swallow_figure
from .proof_figures import agreement_figure, bland_altman_figure, classifier_figure, evidence_figure, raters_figure
from .results import StudyTables, records
from .words import CAUTIONS, READING

__all__ = ["study_sections"]

Labels = Mapping[str, Mapping[str, pd.DataFrame]]
Column = tuple[str, str | Maker, bool]
_FIGURES: Final = (
    ("hysteresis", "hysteresis (% FS)"),
    ("linearity", "non-linearity, terminal (% FS)"),
    ("repeatability", "repeatability 2 s (% FS)"),
    ("response_time", "response 10-90 % (s)"),
    ("recovery_time", "recovery 90-10 % (s)"),
    ("creep", "creep (% of step)"),
    ("detection_limit", "detection limit (% strain)"),
    ("stretch_to_tap_ratio", "stretch-to-tap ratio (1)"),
)


def _interval(name: str, digits: int = 3) -> Any:
    return lambda row: interval_text(row, name, digits)


def _pictures(*pictures: Picture | None) -> list[Block]:
    return [picture for picture in pictures if picture is not None]


def about(tables: StudyTables) -> Section:
    """What this is, and its cautions."""
    blocks: list[Block] = [
        Text(
            "This page was made from the recordings of one study by strainstudy, a pipeline for soft piezoresistive strain "
            "sensors on the bench, on knees and on throats. It holds everything it shows and needs no network. Every "
            "number comes from a table of the results folder, where it stands with its unit and description."
        ),
        *(Note(f"{caution.words} (Basis: {caution.basis}.)", "caution") for caution in CAUTIONS),
    ]
    return Section("about", "What this is, and what it is not", tuple(blocks))


def glance(tables: StudyTables) -> Section:
    """People, recordings, and why some were set aside."""
    recordings = tables.recordings
    if recordings.empty:
        return Section("glance", "The study at a glance", (Note("No recording was read.", "fault"),))
    by = recordings.groupby(["task", "status"]).size().unstack(fill_value=0)
    for status in ("good", "degraded", "rejected"):
        if status not in by:
            by[status] = 0
    minutes = recordings.groupby("task")["duration"].sum() / 60.0
    rows = by[["good", "degraded", "rejected"]].assign(minutes=minutes).reset_index()
    people = recordings["participant_id"].nunique()
    sessions = recordings.dropna(subset=["participant_id"])[["participant_id", "session_id"]].drop_duplicates()
    words = (
        f"{people} people in {len(sessions)} sessions, {len(recordings)} recordings, "
        f"{recordings['duration'].sum() / 3600.0:.1f} hours."
    )
    if recordings["group"].notna().any():
        groups = recordings.dropna(subset=["participant_id"]).drop_duplicates("participant_id")["group"].value_counts()
        words += " Groups: " + ", ".join(f"{name} {n}" for name, n in sorted(groups.items())) + "."
    blocks: list[Block] = [
        Text(words),
        table_of(
            rows,
            "Recordings by task and status",
            [("task", "task", False), ("good", "good", True), ("degraded", "degraded", True),
             ("rejected", "rejected", True), ("minutes", "minutes", True)],
        ),
    ]  # fmt: skip
    odd = recordings[recordings["status"].isin(["degraded", "rejected"])]
    if len(odd):
        columns: list[Column] = [
            ("recording", "recording_id", False),
            ("status", "status", False),
            ("why", "status_description", False),
        ]
        blocks.append(table_of(odd, "Recordings that are degraded or rejected, and why", columns))
    return Section("glance", "The study at a glance", tuple(blocks))


def _gauge_factor(tables: StudyTables) -> Any:
    curves = tables("tables/sensor_curves", "sensor_id", "gauge_factor")

    def words(row: Mapping[str, Any]) -> str:
        if pd.notna(row["gauge_factor"]):
            return interval_text(row, "gauge_factor")
        own = curves.loc[curves["sensor_id"] == row["sensor_id"], "gauge_factor"]
        if own.empty:
            return "n/a"
        return f"{number_text(own.iloc[0])} to {number_text(own.iloc[-1])}, by interval"

    return words


def bench(tables: StudyTables, traces: Mapping[str, Mapping[str, Trace]], folder: Path) -> Section | None:
    """Sensors on the bench and over the study."""
    sensors = tables("tables/sensors", "sensor_id", "gauge_factor", "warning")
    health = health_figure(tables, folder)
    if sensors.empty and health is None:
        return None
    blocks: list[Block] = [Text(READING["bench"])]
    if len(sensors):
        columns: list[Column] = [
            ("sensor", "sensor_id", False),
            ("cycles", "n_cycles", True),
            ("gauge factor (1)", _gauge_factor(tables), False),
        ]
        columns += [(title, _interval(name), False) for name, title in _FIGURES]
        blocks.append(table_of(sensors, "Figures of merit with 95 % intervals (FS: full scale)", columns))
        for row in records(sensors[sensors["warning"].notna()]):
            blocks.append(Note(f"Sensor {row['sensor_id']}: {row['warning']}."))
    blocks += _pictures(health)
    flagged = tables.recordings[tables.recordings["sensor_flag"].notna()]
    if len(flagged):
        sentence = (
            f"{len(flagged)} recordings use a sensor that left its control limits; tables/recordings.tsv names them."
        )
        blocks.append(Note(sentence, "fault"))
    blocks += sensor_figures(tables, traces, folder)
    return Section("bench", "Sensors", tuple(blocks))


def calibration(tables: StudyTables, labels: Labels, folder: Path) -> Section | None:
    """Knee calibration and, where there is a reference, its proof."""
    calibrations = tables("tables/calibrations", "status", "participant_id", "session_id", "tracked_point")
    angles = tables("validation/angles", "recording_id", "participant_id", "phase", "angle_from", "angle_to")
    picture = calibration_figure(tables, labels, folder)
    if calibrations.empty and angles.empty and picture is None:
        return None
    blocks: list[Block] = [Text(READING["calibration"]), *_pictures(picture)]
    refused = calibrations[~calibrations["status"].isin(["fitted"])] if len(calibrations) else calibrations
    if len(refused):
        refusals: list[Column] = [
            ("person", "participant_id", False), ("session", "session_id", False), ("point", "tracked_point", False),
            ("status", "status", False), ("why", "status_description", False),
        ]  # fmt: skip
        blocks.append(table_of(refused, "Calibrations that were not made, and why", refusals))
    pooled = angles[(angles["recording_id"] == "pooled") & angles["participant_id"].isna()]
    if len(pooled):
        span = lambda r: f"{number_text(r['angle_from'])} to {number_text(r['angle_to'])}"  # noqa: E731
        columns: list[Column] = [
            ("phase", "phase", False), ("range (deg)", span, False), ("people", "n_participants", True),
            ("RMSE (deg)", _interval("rmse"), False), ("bias (deg)", _interval("bias"), False),
            ("limits of agreement (deg)", lambda r: f"{number_text(r['limit_low'])} to {number_text(r['limit_high'])}", False),
            ("R²", "r2", True), ("interval holds reference", "coverage", True),
        ]  # fmt: skip
        blocks.append(
            table_of(pooled, "Calibrated angle against the reference beside it, bend recordings left out", columns)
        )
    return Section("calibration", "Knee angle", tuple(blocks))


def gait(tables: StudyTables, folder: Path) -> Section | None:
    """Gait by person and session, with the verdict on sensor or gait."""
    frame = tables("tables/gait", "recording_id", "verdict", "verdict_side", "verdict_evidence", "warning", "n_strides")
    if frame.empty:
        return None
    frame = tables.with_person(frame)
    verdicts = frame["verdict"].value_counts(dropna=True)
    blocks: list[Block] = [Text(READING["gait"]), *_pictures(gait_figure(tables, folder))]
    if len(verdicts):
        counted = "; ".join(f"{word}: {n}" for word, n in sorted(verdicts.items()))
        blocks.append(Text(f"Sensor or gait, rows of n = {len(frame)}: {counted}."))
    columns: list[Column] = [
        ("person", "participant_id", False), ("session", "session_id", False), ("recording", "recording_id", False),
        ("state", "trial_type", False), ("strides", "n_strides", True), ("cadence (1/min)", _interval("cadence"), False),
        ("stride-time CV (%)", _interval("stride_time_cv"), False),
        ("step-time asymmetry (%)", _interval("step_time_symmetry_index"), False),
        ("sensor or gait", "verdict", False), ("side", "verdict_side", False), ("evidence", "verdict_evidence", False),
    ]  # fmt: skip
    known = [c for c in columns if callable(c[1]) or c[1] in frame]
    frame = frame.sort_values(["participant_id", "session_id", "recording_id", "trial_type"], kind="stable")
    blocks.append(table_of(frame, "Walks, with 95 % intervals over strides", known))
    return Section("gait", "Gait", tuple(blocks))


def swallows(tables: StudyTables, folder: Path) -> Section | None:
    """Swallows by recording."""
    summary = tables("tables/swallow_summary", "recording_id", "swallow_count", "sensor_note")
    if summary.empty:
        return None
    summary = tables.with_person(summary)
    blocks: list[Block] = [Text(READING["swallows"]), Note(CAUTIONS[1].words, "caution")]
    blocks += _pictures(swallow_figure(tables, folder))
    columns: list[Column] = [
        ("recording", "recording_id", False), ("task", "task", False), ("swallows", "swallow_count", True),
        ("rate (1/min)", _interval("rate"), False), ("duration (s)", "duration_mean", True),
        ("interval (s)", "interval_mean", True), ("volume per swallow (ml)", "volume_per_swallow", True),
        ("speed (ml/s)", "swallowing_speed", True), ("sensor", "sensor_note", False),
    ]  # fmt: skip
    known = [c for c in columns if callable(c[1]) or c[1] in summary]
    some = summary[summary["swallow_count"].fillna(0) > 0]
    blocks.append(table_of(some, "Recordings with swallows; rate with 95 % limits of a Poisson count", known))
    return Section("swallows", "Swallows", tuple(blocks))


def _readings(frame: pd.DataFrame, caption: str, columns: Sequence[Any]) -> Table | Note:
    known = [c for c in columns if callable(c[1]) or c[1] in frame]
    return table_of(frame, caption, [*known, ("in words", "reading", False)] if "reading" in frame else known)


def classifier(tables: StudyTables, folder: Path) -> Section | None:
    """The classifier and its proof."""
    scores = tables("validation/classifier", "scope", "trial_type", "predictor")
    blocks = _pictures(classifier_figure(tables, folder), evidence_figure(tables, folder))
    if scores.empty and not blocks:
        return None
    pooled = scores[(scores["scope"] == "pooled") & (scores["trial_type"] == "all")]
    columns: list[Column] = [
        ("predictor", "predictor", False), ("people", "n_participants", True), ("balanced accuracy", _interval("balanced_accuracy"), False),
        ("limping side right", _interval("side_accuracy"), False), ("log loss (nat)", _interval("log_loss"), False),
        ("Brier score", _interval("brier"), False), ("calibration error", _interval("calibration_error"), False),
    ]  # fmt: skip
    own: list[Block] = [Text(READING["classifier"]), *blocks]
    own.append(table_of(pooled, "Pooled scores of people left out, 95 % intervals over people", columns))
    history = tables("model/history", "number", "verdict").tail(5)
    if len(history):
        steps: list[Column] = [
            ("model", "number", True), ("family", "family", False), ("people", "n_participants", True),
            ("balanced accuracy", _interval("balanced_accuracy"), False), ("against the one before", "verdict", False),
        ]  # fmt: skip
        own.append(
            table_of(
                history,
                "Models of this results folder, newest last",
                [c for c in steps if callable(c[1]) or c[1] in history],
            )
        )
    mistakes = tables("validation/mistakes", "rank", "recording_id", "onset", "duration", "label", "predicted").head(10)
    spans: list[Column]
    if len(mistakes):
        spans = [
            ("recording", "recording_id", False), ("onset (s)", "onset", True), ("duration (s)", "duration", True),
            ("label", "label", False), ("predicted", "predicted", False), ("probability", "probability", True),
        ]  # fmt: skip
        own.append(table_of(mistakes, "Worst mistakes; their pictures are under Recordings", spans))
    following = tables("tables/label_next", "rank", "reason").head(10)
    if len(following):
        spans = [
            ("recording", "recording_id", False), ("onset (s)", "onset", True), ("duration (s)", "duration", True),
            ("why", "reason", False),
        ]  # fmt: skip
        own.append(table_of(following, "What to label next", spans))
    return Section("classifier", "Normal or limping", tuple(own))


def agreement(tables: StudyTables, folder: Path) -> Section | None:
    """Detection against labels and between raters."""
    pictures = _pictures(
        agreement_figure(tables, folder), raters_figure(tables, folder), bland_altman_figure(tables, folder)
    )
    states = tables("validation/states", "recording_id")
    confounders = tables("validation/confounders", "recording_id")
    if not pictures and states.empty:
        return None
    blocks: list[Block] = [Text(READING["agreement"]), *pictures]
    columns: list[Column] = [
        ("state", "trial_type", False), ("measure", "measure", False), ("people", "n_participants", True),
        ("value", _interval("value"), False),
    ]  # fmt: skip
    blocks.append(_readings(states[states["recording_id"] == "pooled"], "States by time, pooled", columns))
    taken: list[Column] = [
        ("confounder", "confounder", False), ("labelled", "n_labelled", True), ("taken for a swallow", "n_taken", True),
        ("false per minute", _interval("false_per_minute"), False),
    ]  # fmt: skip
    own = confounders[confounders["recording_id"] == "pooled"]
    if len(own):
        blocks.append(_readings(own, "What was taken for a swallow, pooled", taken))
    return Section("agreement", "Agreement with labels", tuple(blocks))


def standing(tables: StudyTables, folder: Path) -> list[Section]:
    """Norms, change between sessions, groups."""
    sections = []
    norms = norms_figure(tables, folder)
    if norms is not None:
        sections.append(Section("norms", "Beside published values", (Text(READING["norms"]), norms)))
    change = change_figure(tables, folder)
    if change is not None:
        table = tables("tables/change", "exceeds")
        beyond = table[table["exceeds"].fillna(value=False).astype(bool)].head(40)
        columns: list[Column] = [
            ("person", "participant_id", False), ("measure", "measure", False), ("state", "trial_type", False),
            ("change", _interval("change"), False), ("minimal detectable", "minimal_detectable_change", True), ("unit", "unit", False),
        ]  # fmt: skip
        listed = table_of(beyond, "Changes beyond what repeats explain (at most 40 shown)", columns)
        sections.append(Section("change", "Change between sessions", (Text(READING["change"]), change, listed)))
    return sections


def groups(tables: StudyTables) -> Section | None:
    """Groups side by side."""
    frame = tables("validation/groups", "other_group", "hedges_g")
    own = frame[frame["other_group"].notna() & frame["hedges_g"].notna()]
    if own.empty:
        return None
    columns: list[Column] = [
        ("measure", "measure", False), ("session", "session_id", False), ("state", "trial_type", False), ("unit", "unit", False),
        ("group", lambda r: f"{r['group']} (n = {r['n']})", False), ("mean", _interval("mean"), False),
        ("other group", lambda r: f"{r['other_group']} (n = {r['other_n']})", False), ("mean, other", _interval("other_mean"), False),
        ("Hedges' g", _interval("hedges_g"), False),
    ]  # fmt: skip
    words = "One value per person and session. Described, not tested: nothing is adjusted for age, sex or the number of comparisons."
    return Section(
        "groups",
        "Groups",
        (Text(words), table_of(own.head(60), "Group means with 95 % intervals (at most 60 rows)", columns)),
    )


def shortfalls(tables: StudyTables) -> Section:
    """What the study could not be told."""
    notes: list[Block] = []
    recordings = tables.recordings
    for status, words in (("rejected", "could not be used"), ("degraded", "were used in part")):
        n = int((recordings["status"] == status).sum())
        if n:
            notes.append(Note(f"{n} of {len(recordings)} recordings {words}: see The study at a glance.", "fault"))
    frame = tables("tables/gait", "warning", "verdict")
    few = int(frame["warning"].notna().sum())
    if few:
        notes.append(Note(f"{few} of {len(frame)} gait rows carry a warning (mostly fewer than 20 strides)."))
    unsure = int((frame["verdict"].astype(str).str.contains("cannot be told apart")).sum())
    if unsure:
        notes.append(
            Note(
                f"{unsure} walks differ between the sides in amplitude only and have no bend calibration: sensor or gait cannot be told apart."
            )
        )
    for name, words in (
        ("validation/events", "No labels: nothing says how well events were found in this study."),
        ("validation/raters", "No second rater: nothing says how well people agree among themselves."),
        ("tables/sensors", "No bench recordings: sensors are not characterised."),
        ("tables/calibrations", "No bend recordings: no angle in degrees, amplitudes of two knees cannot be compared."),
        ("tables/change", "No second session: no change."),
        ("validation/classifier", "No labels of limping and normal gait: states come from published rules only."),
    ):
        if tables(name).empty:
            notes.append(Note(words))
    events = tables("validation/events", "recording_id", "f1", "trial_type", "side", "criterion")
    pooled = events[
        (events["recording_id"] == "pooled") & (events["criterion"] != "overlap") & (pd.to_numeric(events["f1"]) < 0.9)
    ]
    for row in records(pooled.drop_duplicates(["trial_type", "side"], keep="last")):
        words = f"{str(row['trial_type']).replace('_', ' ')} ({row['side']})"
        notes.append(Note(f"Pooled F1 of {words} is {number_text(row['f1'])} at the widest tolerance scored.", "fault"))
    if not notes:
        notes.append(Text("Nothing fell short of what was asked of it."))
    return Section("shortfalls", "What fell short", tuple(notes))


def study_sections(
    tables: StudyTables,
    *,
    labels: Labels,
    settings: Mapping[str, Any],
    bench_traces: Mapping[str, Mapping[str, Trace]],
    recordings: Sequence[Section],
    folder: Path,
) -> list[Section]:
    """Give all sections in reading order.

    Parameters
    ----------
    tables : StudyTables
    labels : mapping of recording to rater to DataFrame
    settings : mapping of section to parameters
    bench_traces : mapping of recording to tracked point to Trace
    recordings : sequence of Section
        One per participant, with a drawing of each recording.
    folder : Path
        Where figures are written.

    Returns
    -------
    list of Section
    """
    traces = Section("recordings", "Recordings", (Text(READING["recordings"]),), tuple(recordings))
    found = [
        about(tables),
        glance(tables),
        gait(tables, folder),
        swallows(tables, folder),
        classifier(tables, folder),
        agreement(tables, folder),
        *standing(tables, folder),
        groups(tables),
        calibration(tables, labels, folder),
        bench(tables, bench_traces, folder),
        traces if recordings else None,
        shortfalls(tables),
        Section("methods", "Methods and settings", methods_blocks(settings)),
    ]
    return [section for section in found if section is not None]
