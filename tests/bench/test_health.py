"""Control charts of sensors over a study."""

import numpy as np
import pandas as pd
import pytest
from strainstudy.bench.health import HEALTH_COLUMNS, RANGE_MEDIAN, HealthParameters, control_chart, flagged_recordings
from strainstudy.tables.sensors import SENSOR_HEALTH
from strainstudy.tables.spec import read_table, write_table


def uses(values: dict[str, list[float]], measure: str = "rest_resistance") -> pd.DataFrame:
    rows = [
        {"sensor_id": sensor, "participant_id": f"sub-{k:02d}", "session_id": "ses-1",
         "recording_id": f"{sensor}-{k:02d}", measure: value}
        for sensor, series in values.items()
        for k, value in enumerate(series, start=1)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def steady(n: int, centre: float, cv: float, seed: int) -> list[float]:
    return list(centre * np.exp(cv * np.random.default_rng(seed).standard_normal(n)))


def test_median_moving_range_constant_is_that_of_the_tables_of_control_charts():
    """d4 = 0.954 for ranges of two (Wheeler & Chambers, Understanding Statistical Process Control; from memory)."""
    assert pytest.approx(0.954, abs=5e-4) == RANGE_MEDIAN


def test_limits_equal_those_of_a_worked_individuals_chart_on_logarithms():
    """Centre +- 3 * median moving range / 0.954 (ISO 7870-2, individuals; median range variant), by hand."""
    logs = np.array([0.0, 0.1, 0.0, 0.2, 0.1, 0.3, 0.2, 0.3, 0.2, 0.4])
    chart = control_chart(uses({"S1": list(1000 * np.exp(logs))}))
    ranges = np.abs(np.diff(logs))
    band = 3 * np.median(ranges) / 0.95387
    assert chart["centre"].iloc[0] == pytest.approx(1000 * np.exp(0.2))
    assert chart["limit_high"].iloc[0] == pytest.approx(1000 * np.exp(0.2 + band), rel=1e-4)
    assert chart["limit_low"].iloc[0] == pytest.approx(1000 * np.exp(0.2 - band), rel=1e-4)


def test_a_tired_sensor_is_flagged_and_its_steady_neighbours_are_not():
    values = {f"S{k}": steady(8, 5000 + 500 * k, 0.02, k) for k in range(5)}
    values["S2"][6] *= 1.5
    chart = control_chart(uses(values))
    flagged = chart[chart["flagged"]]
    assert list(zip(flagged["sensor_id"], flagged["use"], strict=True)) == [("S2", 7)]
    assert "rest resistance +" in flagged["reason"].iloc[0]


def test_one_jump_does_not_widen_its_own_limits():
    values = {f"S{k}": steady(4, 5000, 0.02, k) for k in range(4)}
    before = control_chart(uses(values))["limit_high"].iloc[0]
    values["S3"][2] *= 10
    after = control_chart(uses(values))["limit_high"].iloc[0]
    assert after < 1.1 * before


def test_false_alarms_are_as_rare_as_three_standard_deviations_promise():
    """A normal process leaves +-3 SD 27 times in 10 000; estimated limits leave it somewhat more often."""
    alarms = total = 0
    for seed in range(40):
        values = {f"S{k}": steady(12, 5000, 0.05, 100 * seed + k) for k in range(8)}
        chart = control_chart(uses(values))
        alarms += int(chart["flagged"].sum())
        total += len(chart)
    assert alarms / total < 0.012


def test_few_uses_draw_no_limits_and_say_why():
    chart = control_chart(uses({"S1": [100.0, 300.0], "S2": [100.0]}))
    assert not chart["flagged"].any()
    assert chart["limit_high"].isna().all()
    assert set(chart["reason"]) == {"no limits: 1 pairs of uses in the study", "no limits: one use"}


def test_recordings_of_one_session_count_once_so_that_their_likeness_narrows_no_limits():
    values = {f"S{k}": [v for v in steady(8, 5000, 0.05, k) for _ in range(4)] for k in range(5)}
    table = uses(values)
    table["participant_id"] = [f"sub-{(int(r.split('-')[1]) - 1) // 4:02d}" for r in table["recording_id"]]
    table["rest_resistance"] *= np.exp(0.001 * np.random.default_rng(0).standard_normal(len(table)))
    chart = control_chart(table)
    assert (chart["n_recordings"] == 4).all()
    assert len(chart) == 5 * 8
    assert chart["flagged"].mean() < 0.05


def test_a_number_copied_from_the_sheet_is_no_sign_of_steadiness():
    values = {"S1": steady(12, 5000, 0.05, 1), "S2": [13100.0] * 12, "S3": [12400.0] * 12}
    alone = control_chart(uses({"S1": values["S1"]}))
    assert control_chart(uses(values))["limit_high"].iloc[0] == pytest.approx(alone["limit_high"].iloc[0])


def test_low_noise_is_no_fault():
    values = {f"S{k}": steady(8, 1e-3, 0.1, k) for k in range(5)}
    values["S1"][3] *= 0.01
    values["S4"][3] *= 20
    chart = control_chart(uses(values, "noise"))
    assert list(chart.loc[chart["flagged"], "sensor_id"]) == ["S4"]


def test_only_recordings_of_the_session_that_left_the_limits_are_listed_with_the_reason():
    values = {f"S{k}": steady(8, 5000, 0.01, k) for k in range(4)}
    values["S1"][0] *= 2
    table = uses(values)
    twice = pd.concat([table, table.assign(recording_id=table["recording_id"] + "-b")], ignore_index=True)
    listed = flagged_recordings(control_chart(twice), twice)
    first = table[table["sensor_id"] == "S1"].iloc[0]
    assert list(listed["recording_id"]) == [first["recording_id"], f"{first['recording_id']}-b"]
    assert listed["reason"].str.startswith("sensor S1: rest resistance +").all()
    quiet = flagged_recordings(control_chart(table, HealthParameters(fewest_ranges=1000)), table)
    assert quiet.empty


def on_the_bench(values):
    bench = uses(values).assign(participant_id=None)
    bench["session_id"] = [f"ses-{recording[-1]}" for recording in bench["recording_id"]]
    bench["recording_id"] = "bench-" + bench["recording_id"]
    return bench


def changed_on_the_bench():
    """Six sensors on the bench in two sessions; S1 gives half of what it gave in the second."""
    values = {f"S{k}": steady(2, 5.0, 0.01, k) for k in range(6)}
    values["S1"][1] *= 0.5
    return on_the_bench(values).rename(columns={"rest_resistance": "gauge_factor"})


def test_what_the_bench_shows_of_a_session_flags_who_wore_the_sensor_then_and_nobody_of_another_session():
    worn = [("S1", "sub-1", "ses-1"), ("S1", "sub-2", "ses-2"), ("S2", "sub-3", "ses-2"), ("S1", "sub-4", "ses-3")]
    people = pd.DataFrame(worn, columns=["sensor_id", "participant_id", "session_id"])
    people["recording_id"] = "walk-of-" + people["participant_id"]
    bench = changed_on_the_bench()
    tap = bench[bench["sensor_id"] == "S1"].assign(recording_id=lambda rows: rows["recording_id"] + "-tap")
    used = pd.concat([bench, tap, people], ignore_index=True)
    listed = flagged_recordings(control_chart(bench), used).set_index("recording_id")["reason"]
    assert list(listed.index) == ["bench-S1-02", "bench-S1-02-tap", "walk-of-sub-2"]
    assert listed["walk-of-sub-2"].startswith("sensor S1: on the bench of this session gauge factor -5")


def test_what_one_person_shows_of_a_sensor_flags_no_other_of_that_session():
    worn = uses({f"S{k}": steady(8, 5000, 0.01, k) for k in range(4)})
    worn.loc[worn["recording_id"] == "S1-03", "rest_resistance"] *= 3
    assert list(flagged_recordings(control_chart(worn), worn)["recording_id"]) == ["S1-03"]


def test_of_two_sessions_the_first_is_what_the_sensor_was():
    """One cannot be the odd one of two by its distance from their middle; the second is compared with the first."""
    chart = control_chart(changed_on_the_bench())
    own = chart[chart["sensor_id"] == "S1"]
    assert own["flagged"].tolist() == [False, True]
    assert own["centre"].tolist() == [own["value"].iloc[0]] * 2
    assert own["reason"].iloc[1].endswith("% from its first session of two, outside its limits")


def test_false_alarms_of_pairs_are_as_rare_as_three_standard_deviations_promise():
    """The difference of two has sqrt(2) times the standard deviation of one; 27 in 10 000 lie beyond three of it."""
    flagged = [
        control_chart(uses({f"S{k}": steady(2, 5000, 0.05, 1000 * seed + k) for k in range(60)}))["flagged"].sum() / 60
        for seed in range(40)
    ]
    assert 0.0005 < np.mean(flagged) < 0.008


def test_the_middle_is_the_median_on_logarithms_which_of_four_is_the_geometric_mean_of_the_middle_two():
    values = {f"S{k}": steady(4, 5000, 0.02, k) for k in range(4)} | {"S9": [100.0, 110.0, 121.0, 400.0]}
    chart = control_chart(uses(values))
    own = chart[chart["sensor_id"] == "S9"]
    assert own["centre"].iloc[0] == pytest.approx(np.sqrt(110.0 * 121.0))
    assert own["reason"].iloc[3].endswith("% from the middle of its sessions, outside its limits")


def test_the_chart_fits_its_result_table(tmp_path):
    chart = control_chart(uses({f"S{k}": steady(4, 5000, 0.02, k) for k in range(4)}))
    assert tuple(chart.columns) == HEALTH_COLUMNS == SENSOR_HEALTH.names
    write_table(chart, SENSOR_HEALTH, tmp_path)
    back = read_table(tmp_path, SENSOR_HEALTH)
    assert len(back) == len(chart)
    assert (back["reason"].isna() != back["flagged"]).all()
