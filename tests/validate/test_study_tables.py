"""All validation tables of an invented study."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from labelling import contacts, frame
from strainstudy.tables.gait import GAIT
from strainstudy.tables.spec import read_described, write_table
from strainstudy.tables.swallows import SWALLOW_SUMMARY
from strainstudy.validate.norms import read_norms
from strainstudy.validate.parameters import ValidateParameters
from strainstudy.validate.study_tables import PARTS, StudyResults

QUICK = ValidateParameters(bootstrap_draws=300)
NORM_TABLE = read_norms(Path(__file__).resolve().parents[2] / "config" / "norms.tsv")
PATHS = [
    "validation/events.tsv",
    "validation/confounders.tsv",
    "validation/throat_shapes.tsv",
    "validation/states.tsv",
    "validation/confusion.tsv",
    "validation/raters.tsv",
    "validation/parameters.tsv",
    "validation/pairs.tsv",
    "validation/norms.tsv",
    "tables/change.tsv",
    "validation/retest.tsv",
    "validation/groups.tsv",
]


def invented(people=4, sessions=2, repeats=2, raters=("anna", "berta"), status="good"):
    """A study of walks with swallows, detected with small errors, invented."""
    rng = np.random.default_rng(11)
    recordings, events, bouts, gait, swallows, labels = [], [], [], [], [], {}
    for person in range(people):
        for session in range(1, sessions + 1):
            for repeat in range(repeats):
                name = f"r{person}-{session}-{repeat}"
                recordings.append((name, f"sub-{person}", f"ses-{session}", "walk", 60.0, status))
                left = 1 + (1.0 + 0.04 * person) * np.arange(13)
                truth = pd.concat(
                    [
                        contacts(left, "left"),
                        contacts(left[:-1] + 0.5, "right"),
                        frame((0, 20, "normal_gait"), (20, 40, "rest"), (50, 1, "swallow"), (55, 3, "speech")),
                    ],
                    ignore_index=True,
                )
                found = truth[truth.trial_type.isin(["initial_contact", "swallow"])]
                found = found.assign(onset=found.onset + rng.normal(0, 0.02, len(found)))[
                    rng.uniform(size=len(found)) > 0.03
                ]
                labels[name] = {
                    rater: truth if rater == raters[0] else truth.assign(onset=truth.onset + 0.01) for rater in raters
                }
                events.append(found.assign(recording_id=name, score=0.9))
                bouts.append((name, 0.0, 19.0 + rng.uniform(0, 2), "normal_gait", None))
                bouts.append((name, 21.0, 39.0, "rest", None))
                cadence = 120 / (1.0 + 0.04 * person) + rng.normal(0, 1)
                gait.append(
                    dict.fromkeys(GAIT.names, np.nan)
                    | {
                        "recording_id": name,
                        "trial_type": "normal_gait",
                        "cadence": cadence,
                        "stride_time_mean": 120 / cadence,
                    }
                )
                swallows.append(
                    dict.fromkeys(SWALLOW_SUMMARY.names, np.nan)
                    | {"recording_id": name, "swallow_count": 1, "duration_mean": rng.normal(1, 0.1)}
                    | {"response_shape": ("one_hump", "two_phase")[repeat % 2]}
                )
    names = [f"sub-{person}" for person in range(people)]
    return StudyResults(
        recordings=pd.DataFrame(
            recordings, columns=["recording_id", "participant_id", "session_id", "task", "duration", "status"]
        ),
        events=pd.concat(events, ignore_index=True),
        bouts=pd.DataFrame(bouts, columns=["recording_id", "onset", "duration", "trial_type", "limping_side"]),
        gait=pd.DataFrame(gait),
        swallow_summary=pd.DataFrame(swallows, columns=list(SWALLOW_SUMMARY.names)),
        labels=labels if raters else {},
        norms=NORM_TABLE,
        ages=dict.fromkeys(names, 63.0),
        sexes=dict.fromkeys(names, "female"),
        groups={name: ("stroke", "control")[i % 2] for i, name in enumerate(names)},
    )


def validate_study(results):
    return [table for part in PARTS for table in part(results, QUICK)]


def written(results, folder):
    made = validate_study(results)
    assert [spec.path for spec, _ in made] == PATHS
    return {spec.path: read_described(write_table(table, spec, folder)) for spec, table in made}


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return written(invented(), tmp_path_factory.mktemp("whole"))


def test_every_table_of_a_whole_study_has_rows_and_reads_back_as_described(whole):
    assert {path for path, table in whole.items() if not len(table)} == set()
    pooled = whole["validation/events.tsv"].query("recording_id == 'pooled' and trial_type == 'initial_contact'")
    assert pooled.f1.min() > 0.9
    assert set(whole["validation/parameters.tsv"].detected_from) == {"events", "result tables"}
    assert set(whole["tables/change.tsv"].error_basis) == {"repeat recordings within a session"}
    assert set(whole["validation/norms.tsv"].position.dropna()) <= {"below", "within", "above"}


def test_every_value_that_has_limits_lies_between_them(whole):
    for table in whole.values():
        for name in table.columns:
            if f"{name}_low" in table.columns:
                own = table[[f"{name}_low", name, f"{name}_high"]].astype(float).dropna()
                assert (own.iloc[:, 0] <= own.iloc[:, 1] + 1e-6).all(), name
                assert (own.iloc[:, 1] <= own.iloc[:, 2] + 1e-6).all(), name


def test_every_row_with_limits_names_their_method_and_every_row_without_says_why(whole):
    for path, table in whole.items():
        if "interval_method" in table.columns:
            filled = table[table.columns[table.columns.str.endswith("_low")]].notna().any(axis=1)
            assert table.interval_method[filled].notna().all(), path


@pytest.mark.parametrize(
    ("changes", "empty"),
    [
        (
            {"raters": ()},
            {"events", "confounders", "throat_shapes", "states", "confusion", "raters", "parameters", "pairs"},
        ),
        ({"raters": ("anna",)}, {"raters"}),
        ({"people": 1}, {"retest"}),
        ({"sessions": 1}, {"change", "retest"}),
        ({"people": 1, "sessions": 1, "repeats": 1, "raters": ("anna",)}, {"raters", "change", "retest"}),
        (
            {"status": "rejected"},
            {"events", "confounders", "throat_shapes", "states", "confusion", "raters", "parameters", "pairs"},
        ),
    ],
)
def test_studies_without_labels_second_rater_second_session_or_more_people_give_valid_tables(tmp_path, changes, empty):
    tables = written(invented(**{"people": 3, "repeats": 1, **changes}), tmp_path)
    assert {Path(path).stem for path, table in tables.items() if not len(table)} == empty


def test_one_person_gives_values_without_limits_over_people(tmp_path):
    table = written(invented(people=1, repeats=1), tmp_path)["validation/events.tsv"]
    pooled = table[table.recording_id == "pooled"]
    assert pooled.f1.notna().all()
    assert pooled.f1_low.isna().all()
    assert set(pooled.interval_method) == {"none: fewer than 3 participants"}


def test_a_walk_on_a_treadmill_is_no_repeat_by_which_a_change_is_judged():
    results = invented(people=2)
    every_other = {name: ("treadmill", "overground")[k % 2] for k, name in enumerate(results.recordings.recording_id)}
    basis = {}
    for name, walkways in {"alike": {}, "apart": every_other}.items():
        tables = {spec.path: table for spec, table in validate_study(replace(results, walkways=walkways))}
        change = tables["tables/change.tsv"]
        basis[name] = set(change.loc[change.measure == "cadence", "error_basis"])
    assert basis == {"alike": {"repeat recordings within a session"}, "apart": {"none: nothing was repeated"}}


def test_the_pairs_written_are_those_that_the_agreement_of_parameters_sums_up(whole):
    keys = ["measure", "trial_type", "detected_from"]
    pairs = whole["validation/pairs.tsv"]
    difference = (pairs.detected - pairs.labelled).groupby([pairs[key].fillna("none") for key in keys])
    said = whole["validation/parameters.tsv"]
    said = said.set_index([said[key].fillna("none") for key in keys])
    assert len(said) > 3
    pd.testing.assert_series_equal(difference.count(), said.n_pairs.astype(int), check_names=False)
    assert set(pairs.unit) == set(said.unit)
    assert difference.mean().to_numpy() == pytest.approx(said.bias.to_numpy(), rel=5e-3, abs=1e-6)
