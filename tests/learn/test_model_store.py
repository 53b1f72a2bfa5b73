import io
import json
import pickle
import zipfile

import numpy as np
import pandas as pd
import pytest
import skops.io
from sklearn.neighbors import KNeighborsClassifier
from strainstudy.classify_parameters import ClassifyParameters
from strainstudy.errors import StudyError
from strainstudy.gait.windows import GAIT_FEATURES
from strainstudy.learn.card import check_card, read_card, write_card
from strainstudy.learn.feature_rows import Rows, Task
from strainstudy.learn.fitting import Recipe, fit
from strainstudy.learn.history import compare, extend, hash_labels
from strainstudy.learn.model_store import canonical, dump_models, load_models
from strainstudy.vocabulary import GAIT_STATES

FAMILIES = ("logistic_regression", "random_forest", "extra_trees", "gradient_boosting")


def model_of(family, seed=0):
    rng = np.random.default_rng(8)
    x = rng.normal(size=(120, 3))
    y = np.where(x[:, 0] + 0.3 * rng.normal(size=120) > 0, "yes", "no").astype(object)
    groups = np.array([f"sub-someone{k % 6}" for k in range(120)], dtype=object)
    rows = Rows(x, y, groups, groups, groups, np.ones(120, dtype=bool))
    return fit(rows, Task(("a", "b", "c"), ("no", "yes")), Recipe((family,), 2, seed)), x


@pytest.mark.parametrize("family", FAMILIES)
def test_a_stored_model_answers_as_before_and_has_the_same_bytes_each_time(family):
    model, x = model_of(family)
    again, _ = model_of(family)
    content = dump_models({"only": model})
    assert content == dump_models({"only": again})
    loaded = load_models(content, "model.skops")["only"]
    np.testing.assert_array_equal(loaded.predict_proba(x), model.predict_proba(x))
    assert b"sub-someone" not in content


def test_canonical_bytes_are_a_skops_file_without_time_or_addresses():
    model, _ = model_of("random_forest")
    content = dump_models({"only": model})
    assert canonical(content) == content
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        words = json.dumps(json.loads(archive.read("schema.json"))).replace(",", " ").replace("}", " ").split()
    ids = {int(word) for word in words if word.isdigit()}
    assert max(ids) < 1e6


def test_a_pickle_is_refused():
    content = pickle.dumps({"format": 1})
    with pytest.raises(StudyError, match="is a pickle, which can run any code"):
        load_models(content, "model.skops")
    with pytest.raises(StudyError, match="is a pickle"):
        load_models(b"anything", "model.joblib")


def test_types_that_are_not_trusted_are_named_and_refused():
    class Stranger(KNeighborsClassifier):
        pass

    Stranger.__module__, Stranger.__qualname__ = "somewhere.else", "Stranger"
    content = skops.io.dumps({"format": 1, "variants": {}, "object": Stranger()})
    with pytest.raises(StudyError, match=r"types that are not trusted: somewhere\.else\.Stranger"):
        load_models(content, "model.skops")


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 broken", b"hello"])
def test_what_is_no_model_file_is_refused_in_words(content):
    with pytest.raises(StudyError, match="is not a skops model file"):
        load_models(content, "model.skops")


def test_another_format_is_refused():
    with pytest.raises(StudyError, match="has model format 99, this version reads 1"):
        load_models(skops.io.dumps({"format": 99, "variants": {}}), "model.skops")


@pytest.fixture
def stored(trained):
    models = load_models(trained.model.content, "model.skops")
    return json.loads(write_card(trained.model.card)), models, trained.model.content


def test_the_card_of_a_trained_model_fits_it(stored):
    card, models, content = stored
    check_card(card, models, GAIT_FEATURES, content, "card.json", "model.skops")
    assert card["features"]["range_of_motion"]["unit"] == "deg"
    assert card["data"]["participants"] == 8
    assert set(card["variants"]) == {"both_knees_degrees", "both_knees", "one_knee_degrees", "one_knee"}
    assert 0 <= card["scores"]["balanced_accuracy"] <= 1


def test_a_card_that_disagrees_is_refused_with_every_reason(stored):
    card, models, content = stored
    card["features"]["range_of_motion"]["unit"] = "rad"
    card["features"]["left_elbow"] = {"unit": "deg", "group": "amplitude", "formula": "none"}
    variant = card["variants"]["both_knees"]["examples"]
    variant["probabilities"][0][0] += 0.01
    with pytest.raises(StudyError) as caught:
        check_card(card, models, GAIT_FEATURES, content + b" ", "card.json", "model.skops")
    text = str(caught.value)
    assert "4 problems" in text
    for words in ("not the file this card describes", "with unit 'rad', this version has 'deg'",
                  "a feature that this version does not have", "does not answer its worked examples"):  # fmt: skip
        assert words in text


def test_what_is_no_card_is_refused():
    with pytest.raises(StudyError, match="is not JSON"):
        read_card("{", "card.json")
    with pytest.raises(StudyError, match="is not the card of a strainstudy model"):
        read_card("{}", "card.json")


PARAMETERS = ClassifyParameters(bootstrap_resamples=500)
ENTRY = {
    "label_hash": "a", "settings_hash": "b", "feature_hash": "c", "family": "logistic_regression", "setting": "C=1",
    "n_participants": 8, "labelled_time": 100.0, "balanced_accuracy": 0.9, "balanced_accuracy_low": 0.8,
    "balanced_accuracy_high": 1.0, "log_loss": 0.2, "log_loss_low": 0.1, "log_loss_high": 0.3, "side_accuracy": 0.9,
}  # fmt: skip


def losses(shift, n=8):
    return {f"sub-{k:02d}": 0.3 + 0.01 * k + shift * (1 + 0.1 * k) for k in range(n)}


@pytest.mark.parametrize(
    ("shift", "people", "verdict"),
    [
        (-0.1, 8, "better"),
        (0.1, 8, "worse"),
        (-0.1, 5, "not distinguishable: 5 participants in common, 6 needed"),
    ],
)
def test_a_model_is_compared_with_the_last_on_the_same_people(shift, people, verdict):
    """Six is where unanimous signs reach p < 0.05 in a two-sided sign test: 2 / 2**6 = 0.031, 2 / 2**5 = 0.0625."""
    history = extend(None, ENTRY, losses(0.0), PARAMETERS)
    assert history["verdict"].tolist() == ["first model"]
    history = extend(history, {**ENTRY, "label_hash": "z"}, losses(shift, people), PARAMETERS)
    assert history["verdict"].iloc[1] == verdict
    assert history["n_compared"].iloc[1] == people
    assert history["compared_with"].iloc[1] == history["model_id"].iloc[0]


def test_differences_in_both_directions_are_not_distinguishable():
    old = losses(0.0)
    new = {person: value + (0.05 if k % 2 else -0.05) for k, (person, value) in enumerate(old.items())}
    found = compare(new, old, PARAMETERS)
    assert found.verdict == "not distinguishable"
    assert found.low < found.difference < found.high
    assert compare({"x": 0.1}, {"y": 0.1}, PARAMETERS).verdict == "not distinguishable: no participant in common"


def test_training_again_from_the_same_labels_adds_no_row():
    history = extend(None, ENTRY, losses(0.0), PARAMETERS)
    pd.testing.assert_frame_equal(extend(history, ENTRY, losses(0.5), PARAMETERS), history)


def test_the_label_hash_sees_gait_labels_only_and_not_their_order():
    sheet = pd.DataFrame(
        {
            "onset": [0.0, 5.0, 9.0],
            "duration": [5.0, 4.0, 0.0],
            "trial_type": ["normal_gait", "limping_gait", "initial_contact"],
            "side": [None, "left", "right"],
        }
    )
    plain = hash_labels({"r": sheet}, GAIT_STATES)
    assert hash_labels({"r": sheet.iloc[::-1]}, GAIT_STATES) == plain
    assert hash_labels({"r": sheet.iloc[:2]}, GAIT_STATES) == plain
    assert hash_labels({"r": sheet.assign(side=[None, "right", "right"])}, GAIT_STATES) != plain
    assert hash_labels({"q": sheet}, GAIT_STATES) != plain
