"""The settings that a model rests on, held against the rules that make what it learns from."""

import json
import re
from dataclasses import asdict
from pathlib import Path

import pytest
from strainstudy.sections import SECTIONS
from strainstudy.upstream import _NOT_OF, UPSTREAM, difference_words, settings_words, upstream_settings

RULES = Path(__file__).parents[1] / "workflow/rules"
BEFORE_TRAINING = ("ingest", "derive")
NO_MODEL = {"bends"}
"""What derive finds of knee bends is in no table that a model learns from."""
DEFAULTS = {name: asdict(kind()) for name, kind in SECTIONS.items()}


def sections_of(rule):
    text = "".join(path.read_text(encoding="utf-8") for path in sorted(RULES.glob("*.smk")))
    body = re.search(rf"^ *rule {rule}:\n(.*?)(?=^ *rule |\Z)", text, re.MULTILINE | re.DOTALL)[1]
    return set(re.findall(r'"(\w+)"', re.search(r"settings=settings_of\((.*)\)", body)[1]))


def test_every_section_that_a_rule_before_training_reads_is_upstream_of_a_model():
    read = set().union(*(sections_of(rule) for rule in BEFORE_TRAINING))
    listed = {section for sections in UPSTREAM.values() for section in sections}
    assert listed == (read | {"classify"}) - NO_MODEL


@pytest.mark.parametrize("subject", UPSTREAM)
def test_settings_that_are_passed_over_exist_and_lie_in_a_listed_section(subject):
    for name in _NOT_OF[subject]:
        section, _, field = name.partition(".")
        assert section in UPSTREAM[subject]
        assert field in DEFAULTS[section]


@pytest.mark.parametrize(
    ("subject", "section", "name", "counts"),
    [
        ("gait", "features", "window_strides", True),
        ("gait", "gait", "contact_offset_percent", True),
        ("gait", "condition", "knee_lowpass_hz", True),
        ("gait", "condition", "throat_lowpass_hz", False),
        ("gait", "classify", "permutations", False),
        ("swallow", "condition", "throat_lowpass_hz", True),
        ("swallow", "swallow", "noise_factor", True),
        ("swallow", "swallow", "clearing_pause_s", False),
    ],
)
def test_a_setting_counts_for_the_model_that_it_reaches(subject, section, name, counts):
    before = upstream_settings(DEFAULTS, subject)
    changed = DEFAULTS | {section: DEFAULTS[section] | {name: DEFAULTS[section][name] * 2}}
    after = upstream_settings(changed, subject)
    assert (settings_words(before) != settings_words(after)) == counts
    said = difference_words(before, after)
    assert (said is not None and f"{section}.{name}" in said) == counts


def test_values_are_named_as_the_config_has_them_and_survive_a_card():
    ours = upstream_settings(DEFAULTS, "gait")
    theirs = json.loads(json.dumps(ours))
    assert difference_words(theirs, ours) is None
    theirs["condition"]["mains_hz"] = [50.0]
    del theirs["features"]["strides_min"]
    assert difference_words(theirs, ours) == (
        "the model was made under other settings: condition.mains_hz 50 (here 50, 60), "
        "features.strides_min not there (here 3)"
    )


def test_many_differences_are_counted_and_not_all_named():
    ours = upstream_settings(DEFAULTS, "gait")
    said = difference_words({}, ours)
    count = sum(map(len, ours.values()))
    assert said.endswith(f"and {count - 6} more")
