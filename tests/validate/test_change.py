"""Change between sessions, retest, groups, and the long form they read."""

import math

import numpy as np
import pandas as pd
import pingouin
import pytest
import scipy.stats
from strainstudy.stats.reliability import mean_squares
from strainstudy.tables.gait import GAIT
from strainstudy.tables.spec import write_table
from strainstudy.tables.standing import CHANGE, GROUPS, RETEST
from strainstudy.tables.swallows import SWALLOW_SUMMARY
from strainstudy.validate.change import FAMILIES, changes, retest
from strainstudy.validate.groups import by_affected_side, compare_groups
from strainstudy.validate.measurements import (
    GAIT_MEASURES,
    SIZE,
    SWALLOW_MEASURES,
    gait_measurements,
    join,
    on_walkways,
    per_person,
    swallow_measurements,
)
from strainstudy.validate.parameters import ValidateParameters

PARAMETERS = ValidateParameters()


def long(*rows, error=math.nan, task="walk"):
    """Long measurements from (participant, session, value)."""
    return pd.DataFrame(
        [
            (f"r{i}", person, session, task, "normal_gait", "cadence", "1/min", float(value), error)
            for i, (person, session, value) in enumerate(rows)
        ],
        columns=join().columns,
    )


REPEATED = long(
    ("sub-01", "ses-01", 100), ("sub-01", "ses-01", 102), ("sub-01", "ses-02", 110), ("sub-01", "ses-02", 112),
    ("sub-02", "ses-01", 90), ("sub-02", "ses-01", 92), ("sub-02", "ses-02", 92), ("sub-02", "ses-02", 94),
)  # fmt: skip


def test_change_and_its_error_worked_by_hand():
    """Repeats 2 apart: variance within 2, four degrees of freedom; SE = sqrt(2 (1/2 + 1/2)), MDC = t SE."""
    found = changes(REPEATED).set_index("participant_id")
    assert found.change.to_dict() == {"sub-01": 10.0, "sub-02": 2.0}
    assert found.standard_error.tolist() == pytest.approx([math.sqrt(2)] * 2)
    t = scipy.stats.t.ppf(0.975, 4)
    assert found.minimal_detectable_change.tolist() == pytest.approx([t * math.sqrt(2)] * 2)
    assert (found.change - found.change_low).tolist() == pytest.approx([t * math.sqrt(2)] * 2)
    assert found.exceeds.to_dict() == {"sub-01": True, "sub-02": False}
    assert set(found.error_basis) == {"repeat recordings within a session"}
    assert set(found.error_freedom) == {4}


def test_one_recording_a_session_gives_the_detectable_change_of_weir():
    """Weir 2005: MDC = 1.96 sqrt(2) SEM for single measurements, of a SEM that many tell; here t of other people."""
    single = long(("sub-03", "ses-01", 100), ("sub-03", "ses-02", 101))
    found = changes(join(REPEATED, single)).set_index("participant_id").loc["sub-03"]
    assert found.minimal_detectable_change == pytest.approx(scipy.stats.t.ppf(0.975, 4) * math.sqrt(2) * math.sqrt(2))


def test_the_repeats_of_two_people_raise_no_more_false_alarms_than_those_of_many():
    """Simulation: 150 studies of two people, four degrees of freedom; 1.96 would be exceeded by 12 in 100 (Student)."""
    rng = np.random.default_rng(12)
    who = [(p, s) for p in ("sub-01", "sub-02") for s in ("ses-01", "ses-02") for _ in range(2)]
    studies = [changes(long(*((*head, rng.normal(100, 3)) for head in who))) for _ in range(150)]
    assert 0.02 <= pd.concat(studies).exceeds.mean() <= 0.085


def test_without_repeats_the_error_comes_from_within_the_recordings_and_the_table_says_so():
    found = changes(long(("sub-01", "ses-01", 100), ("sub-01", "ses-02", 110), error=3.0)).iloc[0]
    assert found.standard_error == pytest.approx(3 * math.sqrt(2))
    assert found.error_basis == "spread within the recordings"
    assert found.exceeds


def test_a_standard_error_of_nothing_is_no_error_that_is_known():
    found = changes(long(("sub-01", "ses-01", 100), ("sub-01", "ses-02", 110), error=0.0)).iloc[0]
    assert found.error_basis == "none: nothing was repeated"
    assert pd.isna(found.exceeds)


@pytest.mark.parametrize("error", [0.01, 3.0])
def test_an_error_in_any_unit_is_an_error(error):
    found = changes(long(("sub-01", "ses-01", 1.00), ("sub-01", "ses-02", 1.10), error=error)).iloc[0]
    assert found.standard_error == pytest.approx(error * math.sqrt(2))


def test_the_error_of_a_mean_of_recordings_falls_with_their_number_and_is_unknown_where_one_is():
    """Variances of independent means add and fall by n^2: (9 + 16) / 4 + 4 / 1 = 10.25."""
    rows = long(("sub-01", "ses-01", 100), ("sub-01", "ses-01", 104), ("sub-01", "ses-02", 120))
    own = rows.assign(standard_error=[3.0, 4.0, 2.0])
    assert changes(own).iloc[0].standard_error == pytest.approx(math.sqrt(10.25))
    assert changes(own.assign(standard_error=[3.0, math.nan, 2.0])).iloc[0].error_basis == "none: nothing was repeated"


def test_without_repeats_the_other_peoples_sessions_tell_how_sessions_differ():
    """Weir 2005: SD of the changes = sqrt(2) SEM. The person's own change is no part of its own error."""
    steps = enumerate((-2, -1, 0, 1, 2))
    others = [(f"sub-{p:02d}", f"ses-0{s + 1}", 100 + p + s * step) for p, step in steps for s in (0, 1)]
    rows = long(*others, ("sub-99", "ses-01", 100), ("sub-99", "ses-02", 105), error=0.1)
    found = changes(rows).set_index("participant_id").loc["sub-99"]
    assert found.standard_error == pytest.approx(math.sqrt(2.5))
    assert (found.error_basis, found.error_freedom) == ("sessions of the other people", 4)
    assert found.exceeds
    assert found.minimal_detectable_change == pytest.approx(scipy.stats.t.ppf(0.975, 4) * math.sqrt(2.5))
    assert found.others_detectable_change == found.minimal_detectable_change
    noisy = changes(rows.assign(standard_error=3.0)).set_index("participant_id").loc["sub-99"]
    assert noisy.others_detectable_change == pytest.approx(scipy.stats.t.ppf(0.975, 4) * math.sqrt(2.5))
    few = changes(rows[rows["participant_id"].isin(["sub-00", "sub-01", "sub-99"])])
    assert few.others_detectable_change.isna().all()
    assert noisy.standard_error == pytest.approx(3 * math.sqrt(2))
    assert noisy.minimal_detectable_change == pytest.approx(1.96 * 3 * math.sqrt(2))


def test_sessions_that_differ_by_the_day_alone_exceed_it_in_about_one_of_twenty():
    """Simulation: nobody changes; 40 people, day-to-day SD 3, strides that would give a standard error of 0.5."""
    rng = np.random.default_rng(4)
    rows = [
        (f"sub-{p:02d}", s, level + rng.normal(0, 3))
        for p, level in enumerate(rng.normal(110, 8, 40)) for s in ("ses-01", "ses-02")
    ]  # fmt: skip
    assert changes(long(*rows, error=0.5)).exceeds.mean() <= 0.125


def test_with_neither_there_is_no_error_and_no_verdict():
    found = changes(long(("sub-01", "ses-01", 100), ("sub-01", "ses-02", 110))).iloc[0]
    assert found.error_basis == "none: nothing was repeated"
    assert pd.isna(found.exceeds)
    assert math.isnan(found.minimal_detectable_change)


def test_recordings_of_different_tasks_do_not_repeat_each_other():
    mixed = join(
        long(*[(f"sub-{p}", s, 100) for p in range(5) for s in ("ses-01", "ses-02")]),
        long(*[(f"sub-{p}", s, 60) for p in range(5) for s in ("ses-01", "ses-02")], task="free"),
    )
    assert set(changes(mixed).error_basis) == {"none: nothing was repeated"}


def test_a_drunk_volume_repeats_no_other_swallowing_and_has_no_interval_of_its_own():
    found = swallow_measurements(
        pd.concat([
            summary("r1", duration_mean=1.1, interval_mean=1.2, time_per_swallow=1.2, volume=48.0),
            summary("r2", duration_mean=1.1, interval_mean=6.0),
        ]),
        RECORDINGS,
    )  # fmt: skip
    assert found.loc[found.measure == "swallow_interval", "value"].tolist() == [6.0]
    assert found.loc[found.measure == "swallow_duration", "task"].tolist() == ["swallow of a volume", "free"]


def walked_on(walkways, rows):
    """Long measurements of ``rows`` whose recordings were walked on ``walkways``, one after the other."""
    return on_walkways(rows, dict(zip(rows["recording_id"], walkways, strict=True)))


def test_treadmill_and_overground_walks_are_neither_averaged_nor_compared():
    mixed = ("overground", "treadmill", "overground", "treadmill")
    sessions = (
        ("sub-01", "ses-01", 100),
        ("sub-01", "ses-01", 80),
        ("sub-01", "ses-02", 104),
        ("sub-01", "ses-02", 90),
    )
    both = changes(walked_on(mixed, long(*sessions, error=1.0))).set_index("walkway")
    assert both.change.to_dict() == {"overground": 4.0, "treadmill": 10.0}
    assert both.lead.all()
    assert "on a treadmill 80 to 90" in both.reading["treadmill"]
    apart = long(("sub-01", "ses-01", 100), ("sub-01", "ses-02", 80), error=1.0)
    assert changes(walked_on(("overground", "treadmill"), apart)).empty
    assert len(changes(walked_on((None, None), apart))) == 1


def test_retest_and_groups_keep_treadmill_and_overground_apart():
    rows = long(*[(f"sub-{p}", s, 100 + p) for p in range(4) for s in ("ses-01", "ses-02")])
    half = [("overground", "treadmill")[k % 2] for k in range(len(rows))]
    assert retest(walked_on(half, rows), PARAMETERS).empty
    groups = {f"sub-{p}": ("control", "stroke")[p % 2] for p in range(4)}
    by_person = walked_on([("overground", "treadmill")[(k // 2) % 2] for k in range(len(rows))], rows)
    assert compare_groups(per_person(by_person), groups).other_group.isna().all()
    alike = compare_groups(per_person(walked_on(["treadmill"] * len(rows), rows)), groups)
    assert set(alike.walkway) == {"treadmill"}
    assert set(alike.other_group) == {"stroke"}
    assert set(retest(walked_on(["treadmill"] * len(rows), rows), PARAMETERS).walkway) == {"treadmill"}


def test_three_sessions_give_three_pairs():
    found = changes(long(*[("sub-01", f"ses-0{i}", 100 + i) for i in (1, 2, 3)], error=1.0))
    assert list(zip(found.session_id, found.later_session_id, strict=True)) == [
        ("ses-01", "ses-02"), ("ses-01", "ses-03"), ("ses-02", "ses-03"),
    ]  # fmt: skip


def test_repeats_alone_exceed_the_detectable_change_in_about_one_of_twenty():
    """Simulation: nobody changes; 200 people, two sessions of two recordings, SD of a recording 3."""
    rng = np.random.default_rng(3)
    rows = [
        (f"sub-{p:03d}", s, level + rng.normal(0, 3))
        for p, level in enumerate(rng.normal(110, 8, 200))
        for s in ("ses-01", "ses-02")
        for _ in range(2)
    ]
    assert 0.015 <= changes(long(*rows)).exceeds.mean() <= 0.095


def test_retest_equals_the_table_of_two_sessions():
    """Pingouin 0.7 ``intraclass_corr`` is the reference for both coefficients."""
    rng = np.random.default_rng(9)
    level = rng.normal(110, 8, 12)
    table = np.column_stack([level + rng.normal(0, 3, 12), level + 1 + rng.normal(0, 3, 12)])
    rows = [(f"sub-{p:02d}", f"ses-0{s + 1}", table[p, s]) for p in range(12) for s in range(2)]
    found = retest(long(*rows), PARAMETERS).iloc[0]
    signed = retest(long(*rows).assign(measure="step_time_symmetry_index"), PARAMETERS).iloc[0]
    assert signed[["mean", "bias", "loa_lower", "icc_agreement", "icc_consistency"]].isna().all()
    assert signed.minimal_detectable_change == found.minimal_detectable_change
    assert "no mean and no ICC" in signed.reading
    frame = pd.DataFrame(rows, columns=["target", "rater", "score"])
    expected = pingouin.intraclass_corr(frame, targets="target", raters="rater", ratings="score")["ICC"].to_numpy()
    assert (found.icc_agreement, found.icc_consistency) == pytest.approx((expected[1], expected[2]), abs=1e-6)
    assert found.bias == pytest.approx((table[:, 1] - table[:, 0]).mean())
    error = mean_squares(table).standard_error
    assert found.standard_error_of_measurement == pytest.approx(error)
    assert found.standard_error_of_measurement == pytest.approx((table[:, 1] - table[:, 0]).std(ddof=1) / math.sqrt(2))
    assert found.error_freedom == 11
    assert found.minimal_detectable_change == pytest.approx(scipy.stats.t.ppf(0.975, 11) * math.sqrt(2) * error)
    assert found.n_participants == 12


def test_groups_are_compared_by_person_not_by_recording():
    """Ten recordings of each person count as one value: n stays 3 and 3."""
    rows = [(f"sub-{p}", "ses-01", 100 + 5 * p + r * 0.01) for p in range(6) for r in range(10)]
    groups = {f"sub-{p}": "control" if p % 2 else "stroke" for p in range(6)}
    found = compare_groups(per_person(long(*rows)), groups).iloc[0]
    assert (found.group, found.n, found.other_group, found.other_n) == ("control", 3, "stroke", 3)
    assert found.difference == pytest.approx(5)
    assert found.hedges_g == pytest.approx(5 / 10 * (1 - 3 / 15))
    assert found.difference_low < found.difference < found.difference_high


def test_a_single_group_is_described_alone_and_people_without_group_are_left_out():
    rows = [(f"sub-{p}", "ses-01", 100 + p) for p in range(4)]
    found = compare_groups(per_person(long(*rows)), {"sub-0": "stroke", "sub-1": "stroke", "sub-2": None})
    assert len(found) == 1
    row = found.iloc[0]
    assert (row.group, row.n, row["mean"]) == ("stroke", 2, 100.5)
    assert pd.isna(row.other_group)


def test_two_people_have_no_limits():
    rows = [(f"sub-{p}", "ses-01", 100 + p) for p in range(5)]
    groups = {f"sub-{p}": "control" if p < 2 else "stroke" for p in range(5)}
    found = compare_groups(per_person(long(*rows)), groups).iloc[0]
    assert (found.group, found.n, found.other_n, found.difference) == ("control", 2, 3, -2.5)
    assert np.isnan([found.mean_low, found.difference_low, found.hedges_g]).all()
    assert np.isfinite(found.other_mean_low)
    assert "control lower" in found.reading and "fewer than 3" in found.interval_method


def test_sides_are_compared_as_affected_and_other_and_signs_by_the_affected_side():
    """Two people limp alike, one on the left and one on the right: signed by right and left their mean would be 0."""
    rows = [
        ("sub-l", "step_time_mean_left", 0.7), ("sub-l", "step_time_mean_right", 0.5),
        ("sub-l", "step_time_symmetry_index", -33.0), ("sub-r", "step_time_mean_left", 0.5),
        ("sub-r", "step_time_mean_right", 0.7), ("sub-r", "step_time_symmetry_index", 33.0),
        ("sub-c", "step_time_mean_left", 0.58), ("sub-c", "step_time_mean_right", 0.62),
        ("sub-c", "step_time_symmetry_index", 6.0), ("sub-c", "cadence", 100.0), ("sub-b", "step_time_mean_left", 9.0),
    ]  # fmt: skip
    people = pd.DataFrame(rows, columns=["participant_id", "measure", "value"]).assign(
        session_id="ses-01", trial_type="limping_gait", unit="s", n_recordings=1
    )
    sides = {"sub-l": "left", "sub-r": "right", "sub-c": "none", "sub-b": "both"}
    found = by_affected_side(people, sides).set_index(["measure", "participant_id"])["value"]
    assert found["step_time_mean_affected"].to_dict() == {"sub-l": 0.7, "sub-r": 0.7, "sub-c": pytest.approx(0.6)}
    assert found["step_time_mean_other"].to_dict() == {"sub-l": 0.5, "sub-r": 0.5, "sub-c": pytest.approx(0.6)}
    assert found["step_time_symmetry_index_affected"].to_dict() == {"sub-l": 33.0, "sub-r": 33.0}
    assert found["cadence"].to_dict() == {"sub-c": 100.0}


def test_measures_made_of_the_same_thing_are_counted_once():
    """Ten measures of one changed rhythm are two families, pace and stance and swing."""
    own = long(("sub-01", "ses-01", 100), ("sub-01", "ses-02", 120), error=1.0)
    names = ["stride_time_mean", "cadence", "step_time_mean_left", "step_time_mean_right", "stance_fraction_mean_left"]
    found = changes(join(*(own.assign(measure=name) for name in names)))
    assert found.exceeds.all()
    assert found[found.lead].measure.tolist() == ["cadence", "stance_fraction_mean_left"]
    assert found.set_index("measure").family["stride_time_mean"] == "pace"


def test_every_measure_that_is_followed_has_a_family():
    members = [measure for family in FAMILIES.values() for measure in family]
    assert sorted(members) == sorted([*GAIT_MEASURES, *SWALLOW_MEASURES])


def test_what_other_peoples_sessions_show_is_not_called_an_error_of_measurement():
    rows = [(f"sub-{p}", s, 100 + p + (s == "ses-02") * (p % 3)) for p in range(8) for s in ("ses-01", "ses-02")]
    found = changes(long(*rows)).iloc[0]
    assert found.error_kind.endswith("not an error of measurement")
    assert "no error of measurement" in found.reading
    assert set(changes(REPEATED).error_kind) <= {"error of measurement", "part of the error of measurement", None}


def test_one_session_one_person_or_nothing_give_tables_with_their_header(tmp_path):
    for data in (join(), long(("sub-01", "ses-01", 100)), long(("sub-01", None, 100))):
        for table, spec in ((changes(data), CHANGE), (retest(data, PARAMETERS), RETEST)):
            assert write_table(table, spec, tmp_path).read_text() == "\t".join(spec.names) + "\n"
    empty = compare_groups(per_person(join()), {})
    assert write_table(empty, GROUPS, tmp_path).read_text() == "\t".join(GROUPS.names) + "\n"


RECORDINGS = pd.DataFrame(
    {
        "recording_id": ["r1", "r2", "bench"],
        "participant_id": ["sub-01", "sub-01", None],
        "session_id": ["ses-01", None, None],
        "task": ["swallow", "free", "stretch"],
    }
)


def summary(recording, **values):
    row = dict.fromkeys(SWALLOW_SUMMARY.names, np.nan) | {"recording_id": recording, "swallow_count": 4} | values
    return pd.DataFrame([row])


def test_swallow_measures_are_those_of_the_summary_with_the_error_of_their_mean():
    """SE of a mean = SD / sqrt(n): 4 durations of SD 0.2 give 0.1, 3 intervals of SD 0.3 give 0.1732."""
    given = summary("r1", duration_mean=1.1, duration_sd=0.2, interval_mean=2.0, interval_sd=0.3, swallowing_speed=12.5)
    found = swallow_measurements(given, RECORDINGS).set_index("measure")
    assert found.value.to_dict() == {"swallow_duration": 1.1, "swallow_interval": 2.0, "swallowing_speed": 12.5}
    assert found.loc["swallow_duration", "standard_error"] == pytest.approx(0.1)
    assert found.loc["swallow_interval", "standard_error"] == pytest.approx(0.3 / math.sqrt(3))
    assert found.unit.to_dict() == {"swallow_duration": "s", "swallow_interval": "s", "swallowing_speed": "ml/s"}


def test_a_recording_too_short_to_count_swallows_has_no_error_of_a_mean():
    """`summarise_swallows` counts nothing under five seconds of live signal, also where it measured a swallow."""
    given = summary("r2", swallow_count=np.nan, duration_mean=1.1, duration_sd=0.2)
    found = swallow_measurements(given, RECORDINGS).set_index("measure")
    assert found.value.to_dict() == {"swallow_duration": 1.1}
    assert np.isnan(found.loc["swallow_duration", "standard_error"])


def test_a_rate_is_spontaneous_only_where_nobody_was_asked_to_swallow():
    rates = {"rate": 1.5, "rate_low": 0.5, "rate_high": 2.5}
    both = pd.concat([summary("r1", **rates), summary("r2", **rates), summary("bench", **rates)])
    found = swallow_measurements(both, RECORDINGS)
    assert found.recording_id.tolist() == ["r2"]
    assert found.measure.tolist() == ["spontaneous_swallow_rate"]
    assert found.standard_error.tolist() == [pytest.approx(1 / 1.96, abs=1e-4)]


def test_gait_measures_exist_in_the_gait_table_and_their_error_is_read_off_their_interval():
    assert {name.removesuffix(SIZE) for name in GAIT_MEASURES} <= set(GAIT.names)
    row = dict.fromkeys(GAIT.names, np.nan) | {
        "recording_id": "r1", "trial_type": "normal_gait", "cadence": 110.0, "cadence_low": 106.08,
        "cadence_high": 113.92, "swing_peak_mean_left": 61.0, "swing_time_log_ratio": -6.0,
        "swing_time_log_ratio_low": -7.96, "swing_time_log_ratio_high": -4.04,
    }  # fmt: skip
    found = gait_measurements(pd.DataFrame([row]), RECORDINGS).set_index("measure")
    assert found.loc["cadence", "standard_error"] == pytest.approx(2.0, abs=1e-3)
    assert found.loc["swing_peak_mean_left", "unit"] == "deg"
    # A limp on either side is as far from the norm: published limits are of sizes.
    size = found.loc["swing_time_log_ratio_size"]
    assert (size["value"], size["standard_error"]) == pytest.approx((6.0, 1.0), abs=1e-3)
    assert "swing_time_log_ratio" not in found.index


def test_the_mean_of_what_cannot_be_negative_has_no_limit_below_zero():
    """Of 0.1, 0.2 and 3.0 the lower limit is 1.1 - 4.303 * 1.646 / sqrt 3 = -2.99; a rate ends at 0."""
    values = long(("sub-01", "ses-01", 0.1), ("sub-02", "ses-01", 0.2), ("sub-03", "ses-01", 3.0))
    people = pd.concat([values, values.assign(measure="step_time_symmetry_index", unit="percent")])
    found = compare_groups(per_person(people), dict.fromkeys(("sub-01", "sub-02", "sub-03"), "control"))
    low = found.set_index("measure")["mean_low"]
    assert low["cadence"] == 0.0
    assert low["step_time_symmetry_index"] == pytest.approx(-2.99, abs=0.01)
