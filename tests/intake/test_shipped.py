"""Models that come along, by the settings that name them."""

import shutil
from pathlib import Path

import pytest
from strainstudy.intake.folders import model_problems
from strainstudy.intake.shipped import MODELS, choose_model, files_of, folders_of, shipped_names


def test_nothing_said_means_training_and_a_model_that_stands_in():
    assert choose_model(None) == (None, MODELS / "open-walks")
    assert choose_model("rule") == (None, None)
    assert choose_model("open-walks") == (MODELS / "open-walks", None)
    assert choose_model("other/model") == (Path("other/model"), None)


def test_a_run_reads_model_card_and_windows_and_not_the_recordings_they_came_from():
    names = {path.relative_to(MODELS / "open-walks").as_posix() for path in files_of(None, None)}
    assert {"model.skops", "card.json", "windows.tsv"} <= names
    assert not [name for name in names if "/" in name]
    assert files_of("rule", None) == []
    assert files_of("rule", "open-walks") == files_of("open-walks", None)
    assert folders_of("rule", "open-walks") == [MODELS / "open-walks"]
    assert folders_of("rule", None) == []


def test_models_that_come_along_are_in_order_and_the_rule_needs_no_folder():
    assert "open-walks" in shipped_names()
    for name in (*shipped_names(), "rule", None):
        assert model_problems({"model": name, "results": "out"}, "mine.yaml") == []


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"train_with": "openwalks"}, "no model of this name comes along; use one of: open-walks"),
        ({"train_with": "open-walks", "model": "open-walks"}, "nothing is trained where a model is given"),
    ],
)
def test_data_to_train_with_must_be_there_and_have_something_to_train(settings, said):
    (found,) = model_problems(settings, "mine.yaml")
    assert "mine.yaml, column train_with" in str(found)
    assert said in str(found)


def test_data_to_train_with_go_with_the_rule():
    assert model_problems({"train_with": "open-walks", "model": "rule"}, "mine.yaml") == []


@pytest.mark.parametrize("name", ["opne-walks", "Rule", "none"])
def test_a_name_that_is_no_model_is_told_where_it_stands_with_those_that_are(name):
    (found,) = model_problems({"model": name, "results": "out"}, "mine.yaml")
    assert str(found) == (
        f"mine.yaml, column model, value {name!r}: no model of this name comes along, and there is no such folder; "
        "use one of: open-walks, rule; or name the model/ folder of a strainstudy run."
    )


def test_windows_that_were_changed_since_their_card_are_not_learnt_from(tmp_path, monkeypatch):
    shutil.copytree(MODELS / "open-walks", tmp_path / "open-walks")
    monkeypatch.setattr("strainstudy.intake.shipped.MODELS", tmp_path)
    assert model_problems({"train_with": "open-walks"}, "mine.yaml") == []
    windows = tmp_path / "open-walks/windows.tsv"
    windows.write_bytes(windows.read_bytes().replace(b"limping_gait", b"normal_gait", 1))
    (found,) = model_problems({"train_with": "open-walks"}, "mine.yaml")
    assert "windows.tsv" in str(found)
    assert "its windows are not those that its card describes; copy the whole folder anew" in str(found)
