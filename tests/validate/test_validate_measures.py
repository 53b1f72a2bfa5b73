"""Parameters from labels beside those from detections."""

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from labelling import contacts, frame
from strainstudy.gait.measures import summarise_walk
from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.strides import STRIDE_COLUMNS
from strainstudy.gait.window_parameters import FeatureParameters
from strainstudy.gait.windows import gait_features
from strainstudy.stats.agreement import bland_altman_repeated, concordance
from strainstudy.stats.reliability import icc
from strainstudy.tables.gait import GAIT
from strainstudy.tables.spec import write_table
from strainstudy.tables.validation import PARAMETERS
from strainstudy.validate.parameter_agreement import (
    UNITS,
    Drink,
    _concordance_of,
    _icc_of,
    _moments,
    bend_angles,
    compare_parameters,
    event_parameters,
    label_timing,
    labelled_against_detected,
)
from strainstudy.validate.parameters import ValidateParameters

QUICK = ValidateParameters(bootstrap_draws=300)
WHOLE = np.array([[0.0, 100.0]])


def walk(stride=1.1, left_share=0.5, strides=20, start=1.0):
    """Contacts of even strides, the right foot's at a share of the left's stride."""
    left = start + stride * np.arange(strides + 1)
    return pd.concat([contacts(left, "left"), contacts(left[:-1] + left_share * stride, "right")])


def values(events, spans=WHOLE):
    return {name: value for name, _, value in event_parameters(events, {"gait": spans}, None, QUICK)}


def test_an_even_walk_has_the_values_it_was_made_of():
    found = values(walk(stride=1.2, left_share=0.5))
    assert found["stride_time_mean"] == pytest.approx(1.2)
    assert found["cadence"] == pytest.approx(100)
    assert found["stride_time_cv"] == pytest.approx(0, abs=1e-9)
    assert found["step_time_mean_left"] == pytest.approx(0.6)
    assert found["step_time_symmetry_index"] == pytest.approx(0, abs=1e-9)


def test_uneven_steps_have_the_symmetry_index_of_robinson():
    """Robinson, Herzog & Nigg 1987: SI = (R - L) / (0.5 (R + L)) x 100; steps 0.6 and 0.4 s give 40 %."""
    found = values(walk(stride=1.0, left_share=0.6))
    assert (found["step_time_mean_right"], found["step_time_mean_left"]) == (pytest.approx(0.6), pytest.approx(0.4))
    assert found["step_time_symmetry_index"] == pytest.approx(40)
    assert found["step_time_log_ratio_size"] == pytest.approx(40.55, abs=0.005), "100 ln(0.6 / 0.4)"
    assert values(walk(stride=1.0, left_share=0.4))["step_time_log_ratio_size"] == pytest.approx(40.55, abs=0.005)


def test_cadence_is_120_over_stride_time_as_published_norms_have_it():
    """Whittle MW, Gait Analysis, appendix: 0.87 s and 138 steps a minute belong together (from memory, 88 % sure)."""
    assert values(walk(stride=0.87))["cadence"] == pytest.approx(138, abs=0.1)


def test_a_missed_contact_is_not_a_long_stride():
    events = walk(stride=1.0)
    holed = events.drop(events.index[5]) if events.index.is_unique else events.reset_index(drop=True).drop(5)
    found = values(holed)
    assert found["stride_time_mean"] == pytest.approx(1.0)
    assert found["stride_time_cv"] == pytest.approx(0, abs=1e-9)


def test_an_invented_contact_makes_no_two_short_strides():
    events = walk(stride=1.0)
    found = values(
        pd.concat([events, events.iloc[[6]].assign(onset=events["onset"].iloc[6] + 0.3)]).sort_values("onset")
    )
    assert found["stride_time_mean"] == pytest.approx(1.0, abs=1e-3)
    assert found["stride_time_cv"] < 0.5


def test_labels_table_and_features_mean_one_thing_by_the_stride_time_cv():
    """Pooled by hand: strides about the mean of their side, squares of both sides over all degrees of freedom."""
    rng = np.random.default_rng(5)
    times = {"left": 1.1 + 0.05 * rng.standard_normal(24), "right": 1.1 + 0.01 * rng.standard_normal(9)}
    onsets = {side: 1.0 + 0.5 * (side == "right") + np.r_[0.0, np.cumsum(own)] for side, own in times.items()}
    square = sum(((own - own.mean()) ** 2).sum() for own in times.values())
    expected = 100 * np.sqrt(square / (23 + 8)) / np.concatenate(list(times.values())).mean()
    assert values(pd.concat([contacts(onsets[side], side) for side in times]))["stride_time_cv"] == pytest.approx(
        expected
    )
    strides = pd.concat(
        [pd.DataFrame({"side": side, "onset": onsets[side][:-1], "stride_time": own}) for side, own in times.items()]
    ).reindex(columns=list(STRIDE_COLUMNS))
    strides["steady"] = True
    assert summarise_walk(strides, GaitParameters(bootstrap_resamples=200))["stride_time_cv"] == pytest.approx(expected)
    walk = SimpleNamespace(strides=strides, polarity={side: SimpleNamespace(sign=1) for side in times})
    curves = {side: np.sin(np.arange(4000) / 17.5) for side in times}
    whole = gait_features(walk, curves, 100.0, FeatureParameters(window_strides=24))
    assert whole["stride_time_cv"].tolist() == pytest.approx([expected])


def test_nothing_is_counted_across_spans():
    events = pd.concat([walk(start=1.0, strides=5), walk(start=50.3, strides=5)])
    assert values(events, np.array([[0, 20.0], [40, 80]]))["stride_time_mean"] == pytest.approx(1.1)


def test_fewer_than_three_strides_give_nothing():
    assert values(walk(strides=2)) == {}
    assert values(frame()) == {}


def test_swallow_parameters_worked_by_hand():
    events = frame((1, 1, "swallow"), (11, 2, "swallow"), (31, 3, "swallow"), (500, 1, "swallow"))
    found = {name: value for name, _, value in event_parameters(events, {}, WHOLE, QUICK)}
    assert found == {"swallow_rate": pytest.approx(1.8), "swallow_duration": 2.0, "swallow_interval": 15.0}


@pytest.mark.parametrize(("pause_s", "volume_ml"), [(5.0, 20.0), (8.0, 15.0)])
def test_drinking_ends_by_the_pause_of_the_settings_in_labels_too(pause_s, volume_ml):
    """60 ml in three swallows a second apart, and one after 6.5 s of rest that is or is not of the same drink."""
    events = frame((1, 0.5, "swallow"), (2, 0.5, "swallow"), (3, 0.5, "swallow"), (10, 0.5, "swallow"))
    found = {name: value for name, _, value in event_parameters(events, {}, WHOLE, QUICK, Drink(60.0, pause_s))}
    assert found["volume_per_swallow"] == pytest.approx(volume_ml)
    assert found["swallow_rate_while_drinking"] == pytest.approx(60 * 4 / (WHOLE[:, 1] - WHOLE[:, 0]).sum())
    assert not {"swallow_rate", "swallow_interval"} & set(found), "sip upon sip is compared apart from other swallows"


def paired(people=6, recordings=2, noise=0.02):
    rng = np.random.default_rng(2)
    labels, events, who, length = {}, {}, {}, {}
    for person in range(people):
        for r in range(recordings):
            name = f"r{person}{r}"
            events_true = walk(stride=1.0 + 0.05 * person + 0.01 * r)
            states = frame((0, 60, "normal_gait"))
            labels[name] = pd.concat([events_true, states])
            events[name] = events_true.assign(onset=events_true.onset + rng.normal(0, noise, len(events_true)))
            who[name], length[name] = f"sub-{person}", 60.0
    return labels, events, who, length


def test_the_agreement_table_equals_the_statistics_it_names():
    pairs = labelled_against_detected(*paired(), QUICK)
    table = compare_parameters(pairs, QUICK)
    row = table[table.measure == "stride_time_mean"].iloc[0]
    own = pairs[pairs.measure == "stride_time_mean"]
    limits = bland_altman_repeated(own.detected, own.labelled, own.participant_id)
    assert (row.n_pairs, row.n_participants, row.n_not_detected) == (12, 6, 0)
    assert row.trial_type == "normal_gait"
    assert (row.bias, row.sd, row.loa_lower) == pytest.approx((limits.bias, limits.sd, limits.low))
    assert row.icc == pytest.approx(icc(own[["labelled", "detected"]], "2,1").value)
    assert row.ccc == pytest.approx(concordance(own.labelled, own.detected).value)
    assert row.icc_low <= row.icc <= row.icc_high


def test_signs_of_left_and_right_make_no_mean_and_pass_for_no_agreement():
    """Half limp to either side by 20 %, a pipeline that knows the side alone errs by 10 % SD: signed, ICC is near 1."""
    rng = np.random.default_rng(1)
    n = 40
    size = np.full(n, 20.0)
    labelled = np.where(np.arange(n) % 2 == 0, size, -size)
    detected = labelled + rng.normal(0, 5, n)
    head = {"recording_id": [f"r{i}" for i in range(n)], "participant_id": [f"sub-{i:02d}" for i in range(n)],
            "trial_type": "limping_gait", "detected_from": "events"}  # fmt: skip
    signed = pd.DataFrame({**head, "measure": "step_time_symmetry_index", "labelled": labelled, "detected": detected})
    sizes = signed.assign(measure="step_time_log_ratio_size", labelled=size, detected=np.abs(detected))
    table = compare_parameters(pd.concat([signed, sizes]), QUICK).set_index("measure")
    row = table.loc["step_time_symmetry_index"]
    assert row[["labelled_mean", "detected_mean", "icc", "icc_low", "ccc"]].isna().all()
    assert "signs cancel" in row.interval_method
    assert row.sd == pytest.approx((detected - labelled).std(ddof=1), rel=0.05), "differences keep their limits"
    assert icc(np.column_stack([labelled, detected]), "2,1").value > 0.9, "what the signs alone would have made of it"
    assert table.loc["step_time_log_ratio_size", "icc"] < 0.5
    assert table.loc["step_time_log_ratio_size", "labelled_mean"] == pytest.approx(20)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(4, 30), st.floats(-3, 3))
def test_coefficients_from_sums_equal_those_from_the_readings(seed, n, shift):
    """What the bootstrap resamples must be the same coefficient; pingouin is the reference for ICC(2,1)."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=n)
    y = x + shift + rng.normal(size=n)
    sums = _moments(x, y, rng.integers(0, 3, n)).sum(axis=0)[None, :]
    assert _icc_of(sums)[0] == pytest.approx(icc(np.column_stack([x, y]), "2,1").value)
    assert _concordance_of(sums)[0] == pytest.approx(concordance(x, y).value)
    long = pd.DataFrame({"t": np.tile(np.arange(n), 2), "r": np.repeat([0, 1], n), "v": np.r_[x, y]})
    if n >= 5:
        expected = pingouin.intraclass_corr(long, targets="t", raters="r", ratings="v")["ICC"].iloc[1]
        assert _icc_of(sums)[0] == pytest.approx(expected, abs=1e-6)


def test_turns_are_cut_out_of_the_compared_gait():
    """Undetected turns raise the variability (PMC6348278, 162 healthy older people): they are not straight walking."""
    labels, events, who, length = paired(1, 1)
    labels["r00"] = pd.concat([labels["r00"], frame((8, 4, "turn"))])
    slow = labels["r00"].trial_type.eq("initial_contact") & labels["r00"].onset.between(8, 11.7)
    with_turn = labels["r00"].assign(onset=labels["r00"].onset + 0.2 * slow)
    pairs = labelled_against_detected({"r00": with_turn}, events, who, length, QUICK)
    cv = pairs[pairs.measure == "stride_time_cv"].labelled.iloc[0]
    assert cv == pytest.approx(0, abs=1e-9)


def test_what_the_result_tables_report_is_compared_in_rows_of_its_own():
    labels, events, who, length = paired()
    reported = pd.DataFrame(
        {"recording_id": list(labels), "trial_type": "normal_gait", "measure": "cadence", "value": 110.0}
    )
    pairs = labelled_against_detected(labels, events, who, length, QUICK, reported=reported)
    table = compare_parameters(pairs, QUICK)
    own = table[table.detected_from == "result tables"]
    assert own.measure.tolist() == ["cadence"]
    assert own.detected_mean.tolist() == [110.0]


def test_a_parameter_the_pipeline_does_not_give_is_counted():
    labels, events, who, length = paired()
    events["r00"] = frame()
    row = compare_parameters(labelled_against_detected(labels, events, who, length, QUICK), QUICK).iloc[0]
    assert (row.n_pairs, row.n_not_detected) == (11, 1)


def test_names_and_units_are_those_of_the_gait_table():
    units = {column.name: column.unit for column in GAIT.columns}
    shared = {
        name: unit
        for name, unit in UNITS.items()
        if not name.startswith(("swallow", "knee_bend", "volume", "time_per"))
    }
    assert {name: units[name.removesuffix("_size")] for name in shared} == shared


def test_bend_angles_pair_by_side_and_leave_out_the_recordings_that_made_the_map():
    labels = {"r1": frame((1, 2, "knee_bend", "left", 45.0), (9, 2, "knee_bend", "right", 60.0))}
    events = {"r1": frame((1.1, 2, "knee_bend", "left", 48.0), (1.1, 2, "knee_bend", "right", 20.0))}
    found = bend_angles(labels, events, {"r1": "sub-01"}, QUICK)
    assert found[["labelled", "detected"]].to_numpy().tolist() == [[45.0, 48.0]]
    assert len(bend_angles(labels, events, {"r1": "sub-01"}, QUICK, calibrating={"r1"})) == 0


def test_without_labels_or_with_one_person_the_table_stays_valid(tmp_path):
    none = compare_parameters(labelled_against_detected({}, {}, {}, {}, QUICK), QUICK)
    assert write_table(none, PARAMETERS, tmp_path).read_text() == "\t".join(PARAMETERS.names) + "\n"
    one = compare_parameters(labelled_against_detected(*paired(1, 1), QUICK), QUICK)
    write_table(one, PARAMETERS, tmp_path)
    assert one.icc.isna().all()
    assert one.bias.notna().all()


def test_a_rate_of_swallows_needs_time_and_no_more_of_it():
    """Two swallows in half a second of scored time are 240 a minute; in no time there is no rate."""
    events = frame((1.0, 0.1, "swallow"), (1.2, 0.1, "swallow"))
    found = {name: value for name, _, value in event_parameters(events, {}, np.array([[0.9, 1.4]]), QUICK)}
    assert found["swallow_rate"] == pytest.approx(240)
    assert found["swallow_interval"] == pytest.approx(0.2)
    assert event_parameters(events, {}, np.empty((0, 2)), QUICK) == []


def test_variability_that_raters_make_is_named_beside_the_figure_and_not_taken_for_the_pipelines_fault():
    """Marks with an SD of 30 ms each: two raters differ by 42 ms, a stride of 1.1 s between two marks scatters by 3.9 %
    (variances add); with a true CV of 2.5 % labels then give 4.6 %.
    """
    rng, rows, spread = np.random.default_rng(5), [], 0.03
    apart = math.sqrt(2) * spread
    for k in range(30):
        true = np.cumsum(1.1 * (1 + 0.025 * rng.standard_normal(60)))
        marks = true + spread * rng.standard_normal(60)
        for measure, f in (
            ("stride_time_mean", np.mean),
            ("stride_time_cv", lambda t: 100 * np.std(t, ddof=1) / t.mean()),
        ):
            rows.append((f"r{k}", f"p{k}", measure, "normal_gait", "events", f(np.diff(marks)), f(np.diff(true))))
    columns = ["recording_id", "participant_id", "measure", "trial_type", "detected_from", "labelled", "detected"]
    table = compare_parameters(pd.DataFrame(rows, columns=columns), QUICK, apart).set_index("measure")
    found = table.loc["stride_time_cv"]
    assert found.from_rater_timing == pytest.approx(100 * apart / 1.1, rel=0.02)
    assert found.labelled_expected == pytest.approx(found.labelled_mean, rel=0.05)
    assert found.validity == "cannot be validated with these labels"
    assert "42.4 ms" in found.reading and found.reading.endswith("cannot be validated with these labels.")
    exact = compare_parameters(pd.DataFrame(rows, columns=columns), QUICK, 0.002).set_index("measure")
    assert pd.isna(exact.loc["stride_time_cv"].validity)
    assert exact.loc["stride_time_cv"].icc_at_best > 0.95
    assert math.isnan(table.loc["stride_time_mean"].labelled_expected)


def test_labels_that_would_fail_a_pipeline_without_error_cannot_validate_one():
    """CVs of 3 to 5 % and marks 33 ms apart in strides of 1.1 s, 3 %: labels of the truth are 4.2 to 5.8 %, so that
    bias and squeezed range alone leave an ICC(2,1) below 0.75, though timing is less than half of the variance.
    """
    rng, rows = np.random.default_rng(6), []
    true = rng.uniform(3.0, 5.0, 40)
    for k, cv in enumerate(true):
        labelled = float(np.hypot(cv, 3.0))
        rows += [
            (f"r{k}", f"p{k}", "stride_time_mean", "limping_gait", "events", 1.1, 1.1),
            (f"r{k}", f"p{k}", "stride_time_cv", "limping_gait", "events", labelled, cv),
        ]
    columns = ["recording_id", "participant_id", "measure", "trial_type", "detected_from", "labelled", "detected"]
    found = compare_parameters(pd.DataFrame(rows, columns=columns), QUICK, 0.033).set_index("measure")
    found = found.loc["stride_time_cv"]
    assert found.from_rater_timing**2 < 0.5 * found.labelled_mean**2
    assert found.icc_at_best == pytest.approx(found.icc, abs=1e-6)
    assert found.icc_at_best < 0.75
    assert found.validity == "cannot be validated with these labels"


def test_the_timing_of_raters_is_that_of_their_contacts_at_the_widest_tolerance():
    rows = pd.DataFrame({
        "trial_type": ["initial_contact"] * 3 + ["toe_off"], "side": ["all", "all", "left", "all"],
        "tolerance": [0.1, 0.25, 0.25, 0.25], "true_positive": [90, 100, 50, 100], "sd": [0.03, 0.042, 0.05, 0.06],
    })  # fmt: skip
    assert label_timing(rows) == 0.042
    assert math.isnan(label_timing(rows.iloc[3:]))
