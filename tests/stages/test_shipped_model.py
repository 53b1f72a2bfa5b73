"""The model that comes along, held to the recordings that it was made from. If a test fails: `make model`."""

import hashlib
import json

import numpy as np
import pandas as pd
import pytest
import sklearn
import yaml
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.gait.model_card import GAIT_MODEL
from strainstudy.gait.result import StateResult, TrainedModel
from strainstudy.gait.shipped_card import card_words
from strainstudy.gait.task import gait_rows, gait_task
from strainstudy.intake.shipped import MODELS
from strainstudy.learn.crossfit import recipe_of
from strainstudy.learn.decide import train_variants
from strainstudy.learn.external import read_external
from strainstudy.learn.model_store import dump_models
from strainstudy.learn.threads import one_thread
from strainstudy.sections import SECTIONS
from strainstudy.settings import describe
from strainstudy.stages.classify import extend_history, read_training
from strainstudy.stages.shipped_model import data_facts, make_windows
from strainstudy.tables import read_table, write_table
from strainstudy.tables.classifier import HISTORY
from strainstudy.tables.training import TRIALS
from strainstudy.upstream import upstream_settings

FOLDER = MODELS / "open-walks"


@pytest.fixture(scope="module")
def card():
    return json.loads((FOLDER / "card.json").read_text(encoding="utf-8"))


def sha256(name: str) -> str:
    return hashlib.sha256((FOLDER / name).read_bytes()).hexdigest()


def test_card_model_windows_and_recordings_belong_together(card):
    assert card["model_sha256"] == sha256("model.skops")
    assert card["data"]["windows_sha256"] == sha256("windows.tsv")
    assert card["data"]["recordings_and_labels"] == data_facts(FOLDER / "data")
    assert (FOLDER / "card.md").read_text(encoding="utf-8") == card_words(card)
    trials = read_table(FOLDER, TRIALS)
    told = pd.DataFrame(card["trials"])["recall"].astype(float)
    assert told.tolist() == pytest.approx(trials["recall"].tolist(), nan_ok=True)


def test_the_windows_are_those_of_the_recordings_byte_for_byte(tmp_path):
    make_windows(FOLDER, tmp_path)
    assert (tmp_path / "windows.tsv").read_bytes() == (FOLDER / "windows.tsv").read_bytes()


@pytest.mark.skipif(
    sklearn.__version__ != json.loads((FOLDER / "card.json").read_text(encoding="utf-8"))["scikit_learn"],
    reason="another version of scikit-learn than the model was made with; its worked examples are held below",
)
def test_the_model_is_that_of_the_windows_byte_for_byte():
    known, _ = read_training(FOLDER, {})
    parameters = ClassifyParameters()
    rows = gait_rows(known, gait_task(), {}, parameters)
    train = one_thread(train_variants)
    models = train(rows, gait_task(), recipe_of(parameters, parameters.families))
    assert hashlib.sha256(dump_models(models)).hexdigest() == sha256("model.skops")


def test_it_fits_this_version_and_its_default_settings(card):
    settings = {name: {e["name"]: e["value"] for e in describe(kind())} for name, kind in SECTIONS.items()}
    upstream = upstream_settings(settings, "gait")
    given = read_external(FOLDER, {"gait": GAIT_MODEL}, {"gait": upstream})["gait"]
    assert given.caution is None
    assert yaml.safe_load((FOLDER / "settings.yaml").read_text(encoding="utf-8")) == upstream == card["settings"]


def test_nobody_that_comes_along_can_be_somebody_of_a_study(card):
    known, words = read_training(FOLDER, card["settings"])
    assert known["participant_id"].str.startswith("open-walks/").all()
    assert known["participant_id"].nunique() == 4
    assert words == f"open-walks (four adults, imitated stiff knee; {sha256('windows.tsv')[:12]})"
    other = {**card["settings"], "features": {**card["settings"]["features"], "window_strides": 8}}
    assert read_training(FOLDER, other)[1].endswith("other settings: features.window_strides 6 (here 8)")


def test_the_card_begins_with_what_it_cannot_do_and_names_where_the_rule_sees_more(card):
    text = card_words(card)
    assert text.index("## Limits") < text.index("## Learnt from") < text.index("## How well")
    for word in ("imitated", "treadmill", "four"):
        assert word in text[text.index("## Limits") : text.index("## Learnt from")]
    limits = text[text.index("## Limits") : text.index("## Learnt from")]
    for value, sign, words in (
        ("recall", -1, "Found less than the rule does"),
        ("false_limping", 1, "Called more normal gait limping than the rule does"),
    ):
        trials = pd.DataFrame(card["trials"]).pivot_table(index="trial", columns="decided_by", values=value)
        assert 0 < (sign * (trials["model"] - trials["rule"]) > 0).sum() == limits.count(words)


def test_one_knee_is_said_to_mislead_because_its_trial_does(card):
    """A guess between two states has a log loss of ln 2."""
    found = {t["trial"]: t for t in card["trials"] if t["decided_by"] == "model"}
    other = found["recorded walks, angles in degrees, the other knee alone"]
    assert other["log_loss"] > np.log(2)
    assert other["balanced_accuracy"] < 0.75
    assert "a limp of the other knee" in card["elsewhere"]["one_knee"]


def test_its_licence_goes_with_it():
    """The MIT licence asks that its notice stands in all copies."""
    text = (FOLDER / "LICENSE.txt").read_text(encoding="utf-8")
    assert "Permission is hereby granted, free of charge" in text
    assert "Copyright (c) 2024" in text


def test_the_history_holds_the_model_without_and_the_model_with_and_grows_only_by_new_ones(tmp_path):
    def trained(name: str, loss: float) -> StateResult:
        numbers = ("balanced_accuracy", "log_loss")
        entry = {
            "label_hash": name, "settings_hash": "s", "feature_hash": "f", "family": "logistic_regression",
            "setting": name, "n_participants": 6, "labelled_time": 1.0, "side_accuracy": 1.0,
            **{f"{n}{part}": 0.5 for n in numbers for part in ("", "_low", "_high")},
        }  # fmt: skip
        model = TrainedModel(b"", {}, entry, {f"sub-{k}": loss * (1 + 0.1 * k) for k in range(6)})
        nothing = pd.DataFrame()
        return StateResult("trained", None, nothing, nothing, nothing, model=model)

    def keep(*results: StateResult) -> pd.DataFrame:
        history = extend_history(tmp_path, results, ClassifyParameters())
        write_table(HISTORY.of(history), HISTORY, tmp_path)
        return history

    pair = trained("alone", 0.5), trained("with open-walks", 0.3)
    for _ in range(2):
        history = keep(*pair)
        assert history["setting"].tolist() == ["alone", "with open-walks"]
    assert history["verdict"].tolist() == ["first model", "better"]
    assert history["difference"].iloc[-1] == pytest.approx(-0.2 * 1.25)
    more = keep(trained("more labels", 0.4), trained("more labels, with open-walks", 0.3))
    assert more["setting"].tolist()[2:] == ["more labels", "more labels, with open-walks"]
