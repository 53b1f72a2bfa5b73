import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from strainstudy.io.store import Trace, TraceWriter
from strainstudy.stages.validate import _angles
from strainstudy.stats.agreement import bland_altman, bland_altman_repeated
from strainstudy.tables.angles import ANGLES
from strainstudy.validate.angle_agreement import agreement_table, angle_sums, coverage_claim

FS = 100
T = np.arange(3000) / FS
KNEE = 30 - 30 * np.cos(2 * np.pi * T / 1.5)


def angle_agreement(angle, low, high, reference, fs):
    """Rows of one recording by itself."""
    ids = {"recording_id": "r", "participant_id": "p", "tracked_point": "left_knee", "task": "walk"}
    rows = agreement_table([(ids, angle_sums(angle, low, high, reference, fs))])
    return rows[rows["recording_id"] == "r"] if len(rows) else rows


def over_all(rows):
    whole = rows[(rows["phase"] == "all") & ~np.isfinite(rows["angle_from"]) & ~np.isfinite(rows["angle_to"])]
    assert len(whole) == 1
    return whole.iloc[0]


def around(angle, half=5.0):
    return angle, angle - half, angle + half


def test_published_example_of_limits_of_agreement():
    """Bland & Altman 1986, Lancet 327:307-310, first readings: bias -2.1, SD 38.8 (digits from their data)."""
    wright = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
    found = over_all(angle_agreement(*around(np.array(wright, float)), np.array(mini, float), FS))
    assert found["bias"] == pytest.approx(-2.117647059)
    assert found["sd"] == pytest.approx(38.76512987)
    assert found["limit_low"] == pytest.approx(-78.09730, abs=1e-5)
    assert found["limit_high"] == pytest.approx(73.86201, abs=1e-5)
    assert found["r2"] == pytest.approx(0.943279**2, abs=1e-5)


def test_known_error_is_split_by_direction():
    speed = np.gradient(KNEE) * FS
    angle = KNEE + np.where(speed > 0, -2.0, 4.0)
    rows = angle_agreement(*around(angle), KNEE, FS)
    part = {
        p: rows[(rows["phase"] == p) & ~np.isfinite(rows["angle_from"]) & ~np.isfinite(rows["angle_to"])]
        for p in rows["phase"]
    }
    assert part["flexing"]["bias"].item() == pytest.approx(-2)
    assert part["flexing"]["sd"].item() == pytest.approx(0, abs=1e-6)
    assert part["extending"]["bias"].item() == pytest.approx(4)
    assert over_all(rows)["rmse"] == pytest.approx(math.sqrt((4 + 16) / 2), rel=0.03)


def test_ranges_of_the_reference_make_up_the_whole():
    rows = angle_agreement(*around(KNEE + 0.05 * KNEE), KNEE, FS)
    parts = rows[(rows["phase"] == "all") & (np.isfinite(rows["angle_from"]) | np.isfinite(rows["angle_to"]))]
    assert parts["seconds"].sum() == pytest.approx(over_all(rows)["seconds"])
    assert parts.sort_values("angle_to")["bias"].is_monotonic_increasing


def test_coverage_is_the_share_of_samples_inside_the_limits():
    angle = KNEE + np.where(np.arange(len(KNEE)) % 10 < 3, 6.0, 0.0)
    assert over_all(angle_agreement(*around(angle), KNEE, FS))["coverage"] == pytest.approx(0.7)
    unknown = np.full(len(KNEE), np.nan)
    assert math.isnan(over_all(angle_agreement(angle, unknown, unknown, KNEE, FS))["coverage"])


@pytest.mark.parametrize("late", [-0.05, 0.0, 0.034])
def test_lag_is_the_time_by_which_the_angle_is_late(late):
    angle = 30 - 30 * np.cos(2 * np.pi * (T - late) / 1.5)
    assert over_all(angle_agreement(*around(angle), KNEE, FS))["lag"] == pytest.approx(late, abs=0.002)


def test_gaps_are_left_out():
    holed = KNEE.copy()
    holed[500:1000] = np.nan
    found = over_all(angle_agreement(*around(holed), KNEE, FS))
    assert found["seconds"] == pytest.approx(25.0)
    assert found["rmse"] == 0


def test_nothing_beside_a_reference_gives_no_row():
    nothing = np.full(100, np.nan)
    assert angle_agreement(nothing, nothing, nothing, KNEE[:100], FS).empty
    assert agreement_table([]).empty


def table_of(people, task="walk"):
    return agreement_table(
        [
            (
                {"recording_id": f"r{k}", "participant_id": who, "tracked_point": "left_knee", "task": task},
                angle_sums(*around(angle), reference, FS),
            )
            for k, (who, angle, reference) in enumerate(people)
        ]
    )


def test_pooled_limits_are_those_of_repeated_measures():
    """Against the package's own Bland-Altman 2007 function, which is tested against published data."""
    rng = np.random.default_rng(2)
    people = []
    for who, n in (("sub-01", 400), ("sub-02", 900), ("sub-03", 650), ("sub-03", 300)):
        reference = KNEE[:n]
        people.append((who, reference + rng.normal(0, 2) + rng.normal(0, 1.5, n), reference))
    table = table_of(people)
    pooled = over_all(table[table["participant_id"].isna()])
    expected = bland_altman_repeated(
        np.concatenate([angle for _, angle, _ in people]),
        np.concatenate([reference for _, _, reference in people]),
        np.concatenate([np.full(len(angle), who) for who, angle, _ in people]),
    )
    assert pooled["n_participants"] == 3
    assert pooled["bias"] == pytest.approx(expected.bias)
    assert pooled["sd"] == pytest.approx(expected.sd)
    assert (pooled["limit_low"], pooled["limit_high"]) == (pytest.approx(expected.low), pytest.approx(expected.high))
    assert pooled["bias_low"] < pooled["bias"] < pooled["bias_high"]


def test_an_interval_that_holds_too_little_is_told_beside_what_it_claims():
    """Errors of SD 2 degrees under limits of 2 degrees either way: two thirds are held (normal distribution, 68 %)."""
    rng, traces = np.random.default_rng(4), []
    for k in range(5):
        angle = KNEE + rng.normal(0, 2, len(KNEE))
        ids = {"recording_id": f"r{k}", "participant_id": f"sub-{k}", "tracked_point": "left_knee", "task": "walk"}
        traces.append((ids, angle_sums(angle, angle - 2, angle + 2, KNEE, FS)))
    table = agreement_table(traces, nominal=0.9)
    pooled = over_all(table[table["participant_id"].isna()])
    assert pooled["coverage"] == pytest.approx(0.683, abs=0.03)
    assert pooled["coverage_low"] < pooled["coverage"] < pooled["coverage_high"] < 0.9
    assert (pooled["coverage_nominal"], pooled["coverage_claim"]) == (0.9, "less often than it claims")
    assert coverage_claim(0.9, 0.85, 0.93).startswith("as it claims")
    assert coverage_claim(0.9, 0.95, 0.99) == "more often than it claims"
    few = agreement_table(traces[:2], nominal=0.9)
    assert over_all(few[few["participant_id"].isna()])["coverage_claim"] == "too few people to tell"


def test_a_persons_recordings_are_pooled_as_if_they_were_one():
    rng = np.random.default_rng(3)
    first, second = (KNEE + rng.normal(0, 2, len(KNEE)) for _ in range(2))
    table = table_of([("sub-01", first, KNEE), ("sub-01", second, KNEE)])
    own = over_all(table[(table["recording_id"] == "pooled") & (table["participant_id"] == "sub-01")])
    expected = bland_altman(np.concatenate([first, second]), np.concatenate([KNEE, KNEE]))
    assert (own["bias"], own["sd"]) == (pytest.approx(expected.bias), pytest.approx(expected.sd))


def test_bends_that_made_the_map_are_not_pooled():
    table = table_of([("sub-01", KNEE + 1, KNEE)], task="bend")
    assert set(table["recording_id"]) == {"r0"}


def test_columns_are_those_of_the_table():
    table = table_of([("sub-01", KNEE + 1, KNEE), ("sub-02", KNEE - 1, KNEE)])
    assert set(table.columns) == set(ANGLES.names)
    assert not np.isinf(table.select_dtypes("number").to_numpy()).any()
    assert isinstance(table, pd.DataFrame)


@pytest.mark.parametrize("multiplier", [1.5, 3.0])
def test_limits_of_angles_follow_the_setting_of_all_limits_of_agreement(tmp_path, multiplier):
    angle, low, high = around(KNEE + np.random.default_rng(4).normal(0, 2, len(KNEE)))
    quantities = {"angle": angle, "angle_low": low, "angle_high": high, "reference_angle": KNEE}
    with TraceWriter(tmp_path / "signals.parquet", tuple(quantities)) as writer:
        for name in ("r1", "r2"):
            writer.write(Trace(name, "left_knee", "V", FS, quantities))
    recordings = [
        SimpleNamespace(recording_id=name, participant_id=f"of {name}", task="walk", reference_use=None)
        for name in ("r1", "r2")
    ]
    [(_, table)] = _angles([tmp_path / "signals.parquet"], recordings, multiplier, 0.9)
    assert len(table[table["participant_id"].isna()])
    assert (table["limit_high"] - table["bias"]).to_numpy() == pytest.approx(multiplier * table["sd"].to_numpy())
    assert (table["bias"] - table["limit_low"]).to_numpy() == pytest.approx(multiplier * table["sd"].to_numpy())


def test_time_that_made_the_map_is_named_and_a_trace_that_made_it_as_a_whole_has_no_figures():
    ids = {"participant_id": "sub-01", "tracked_point": "left_knee", "task": "free"}
    tested = angle_sums(*around(KNEE + 1), KNEE, FS)
    nothing = angle_sums(*around(KNEE), np.full(len(KNEE), np.nan), FS)
    table = agreement_table([({**ids, "recording_id": "a", "fitted": 12.5}, tested),
                             ({**ids, "recording_id": "b", "fitted": 30.0}, nothing)])  # fmt: skip
    whole = table[(table["phase"] == "all") & table["angle_from"].isna() & table["angle_to"].isna()]
    whole = whole.set_index("recording_id")
    assert whole.loc["a", "fitted"] == 12.5
    assert whole.loc["b", "seconds"] == 0
    assert np.isnan(whole.loc["b", "rmse"])
    pooled = whole.loc[["pooled"]]
    assert pooled["seconds"].unique() == pytest.approx([len(KNEE) / FS])
    assert table.loc[table["recording_id"] == "b"].shape[0] == 1
