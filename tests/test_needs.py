"""What jobs ask a cluster for."""

import re
from pathlib import Path

import pytest
from strainstudy.needs import NEEDS, memory_mb, runtime_min, seconds

RULES = Path(__file__).parents[1] / "workflow/rules"


def test_every_stage_with_a_rule_has_its_needs_and_asks_for_them():
    texts = {path.stem: path.read_text(encoding="utf-8") for path in RULES.glob("*.smk")}
    stages = {name for name, text in texts.items() if re.search(rf"^ *rule {name}:", text, re.MULTILINE)}
    assert stages == set(NEEDS)
    for stage in stages:
        assert f'mem_mb=memory_of("{stage}")' in texts[stage]
        assert f'runtime=time_of("{stage}")' in texts[stage]


@pytest.mark.parametrize("stage", NEEDS)
def test_a_job_asks_for_more_than_was_measured_and_for_more_with_more_recordings(stage):
    need = NEEDS[stage]
    for n in (1, 134, 10_000):
        assert memory_mb(stage, n) >= 2 * (need.mb + n * need.mb_per_recording)
        assert runtime_min(stage, n) * 60 >= 10 * seconds(stage, n)
    assert memory_mb(stage, 10_000) >= memory_mb(stage, 1)
    assert memory_mb(stage, 1) % 500 == 0


def test_a_stage_that_was_not_measured_asks_for_something():
    assert memory_mb("something new", 100) >= 1000
    assert runtime_min("something new", 100) >= 5
