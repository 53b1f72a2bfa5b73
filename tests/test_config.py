from pathlib import Path

import jsonschema
import pytest
import yaml
from strainstudy.config import StudyConfig, check_config, config_schema, config_text, load_config
from strainstudy.errors import StudyError
from strainstudy.sections import SECTIONS
from strainstudy.settings import describe

ROOT = Path(__file__).parents[1]


def defaults():
    return yaml.safe_load(config_text())


def test_the_committed_config_and_schema_are_those_of_the_classes():
    assert (ROOT / "config/config.yaml").read_text(encoding="utf-8") == config_text()
    committed = yaml.safe_load((ROOT / "workflow/schemas/config.schema.yaml").read_text(encoding="utf-8"))
    assert committed == config_schema()


def test_the_schema_is_a_json_schema_and_accepts_the_defaults():
    """JSON Schema draft 2020-12, checked by its own meta-schema."""
    jsonschema.Draft202012Validator.check_schema(config_schema())
    assert check_config(defaults(), "config.yaml") == []


def test_the_defaults_are_the_values_of_the_classes():
    general, sections = load_config(defaults())
    assert general == StudyConfig()
    assert sections == {name: kind() for name, kind in SECTIONS.items()}


@pytest.mark.parametrize("kind", [StudyConfig, *SECTIONS.values()], ids=lambda kind: kind.__name__)
def test_every_setting_says_what_it_does_and_where_its_default_comes_from(kind):
    for entry in describe(kind()):
        assert entry["words"], entry["name"]
        assert not entry["words"].endswith("."), entry["name"]
        assert entry["source"], entry["name"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"studdy": "x"}, "config.yaml, column studdy: unknown setting; did you mean 'study'."),
        ({"gait": {"rest_min": 1}}, "config.yaml, column gait.rest_min: unknown setting; did you mean 'rest_min_s'."),
        (
            {"condition": {"knee_lowpass_hz": "six"}},
            "config.yaml, column condition.knee_lowpass_hz, value 'six': wrong kind of value; give a number.",
        ),
        (
            {"condition": {"knee_lowpass_hz": 0.1}},
            "config.yaml, column condition.knee_lowpass_hz, value '0.1': out of range; give a value of at least 2.",
        ),
        (
            {"condition": {"cutoff": "soft"}},
            "config.yaml, column condition.cutoff, value 'soft': not one of the allowed words; "
            "use one of: fixed, residual.",
        ),
        (
            {"condition": {"mains_hz": []}},
            "config.yaml, column condition.mains_hz, value '[]': empty list; give one value or more.",
        ),
        (
            {1: 2},
            "config.yaml, column 1: unknown setting; known here: " + ", ".join(config_schema()["properties"]) + ".",
        ),
        (
            {"ingest": {"gap_steps": float("nan")}},
            "config.yaml, column ingest.gap_steps, value 'nan': not a finite number; give a number.",
        ),
        (
            {"batches": "two"},
            "config.yaml, column batches, value 'two': wrong kind of value; give a whole number or null.",
        ),
        ({"strict": "yes"}, "config.yaml, column strict, value 'yes': wrong kind of value; give true or false."),
        ({"batches": 0}, "config.yaml, column batches, value '0': out of range; give a value of at least 1."),
        (
            {"gait": 3},
            "config.yaml, column gait, value '3': wrong kind of value; give its settings, one line each, below it.",
        ),
    ],
)
def test_a_wrong_setting_is_named_with_its_remedy(change, message):
    assert [str(problem) for problem in check_config(change, "config.yaml")] == [message]


def test_a_section_without_a_line_changes_nothing():
    assert check_config({"gait": None}, "config.yaml") == []
    assert load_config({"gait": None})[1]["gait"] == SECTIONS["gait"]()


def test_all_wrong_settings_are_said_at_once():
    with pytest.raises(StudyError) as error:
        load_config({"batches": 0, "gait": {"a": 1, "b": 2}, "strict": 1})
    assert len(error.value.problems) == 4
    assert str(error.value).startswith("4 problems found; nothing was run:")
