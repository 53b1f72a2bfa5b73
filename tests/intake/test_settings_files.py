"""Config files as text: what YAML would lose without a word, and where it is broken."""

from __future__ import annotations

import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strainstudy.config import config_text
from strainstudy.errors import StudyError
from strainstudy.intake.settings_files import check_config_files, config_file_problems


def said(folder: Path, text: str | bytes) -> list[str]:
    path = folder / "mine.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return [str(problem) for problem in config_file_problems(path, "mine.yaml")]


def test_the_default_config_has_no_problem(tmp_path):
    assert said(tmp_path, config_text()) == []
    assert said(tmp_path, "") == []
    assert said(tmp_path, '{"study": "x"}') == []


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        (
            "study: a\nbatches: 2\nstudy: b\n",
            [
                "mine.yaml, row 3, column study: this setting stands in line 1 already, and only one of the two would"
                " count; remove one of the two."
            ],
        ),
        (
            "gait:\n  rest_min_s: 1\n  rest_min_s: 2\ngait:\n  rest_min_s: 3\n",
            [
                "mine.yaml, row 3, column gait.rest_min_s: this setting stands in line 2 already, and only one of the"
                " two would count; remove one of the two.",
                "mine.yaml, row 4, column gait: this setting stands in line 1 already, and only one of the two would"
                " count; remove one of the two.",
            ],
        ),
        (
            "study: a\n\tbatches: 2\n",
            [
                "mine.yaml, row 2: not YAML (column 1): found a tab character that violates indentation; correct"
                " the text:"
                " one setting a line, 'name: value', sections indented by spaces and not by tabs."
            ],
        ),
        (
            b"study: \xe4\n",
            ["mine.yaml, row 1: a character that is not UTF-8 (byte 0xe4); save the file as UTF-8."],
        ),
        (
            "- study\n",
            ["mine.yaml, row 1: no settings, but a list or a text; write 'name: value', one line each."],
        ),
    ],
)
def test_a_config_file_that_is_not_read_as_it_is_meant_is_named_with_its_line(tmp_path, text, lines):
    assert said(tmp_path, text) == lines


@pytest.mark.parametrize(
    "text",
    [
        "gait: &a [*a]\n",
        "a: &a [x, x, x, x]\n" + "".join(f"{n}: &{n} [{', '.join([f'*{m}'] * 9)}]\n" for m, n in pairwise("abcdefgh")),
    ],
)
def test_a_text_that_stands_for_values_without_end_is_refused(tmp_path, text):
    (line,) = said(tmp_path, text)
    assert line.startswith("mine.yaml: far more values than there are settings")


def test_an_alias_that_is_used_twice_is_no_fault(tmp_path):
    assert said(tmp_path, "gait: &g {rest_min_s: 1}\nbends: *g\nswallow: *g\n") == []


def test_a_file_that_is_not_there_or_a_folder_is_said(tmp_path):
    (problem,) = config_file_problems(tmp_path / "no.yaml", "no.yaml")
    assert str(problem).startswith("no.yaml: there is no such file")
    (problem,) = config_file_problems(tmp_path, "a folder")
    assert "cannot be opened" in str(problem)
    (problem,) = config_file_problems(Path("y" * 300), "long")
    assert "cannot be opened" in str(problem)


def test_all_files_are_checked_and_the_command_says_the_same(tmp_path):
    (tmp_path / "a.yaml").write_text("study: a\nstudy: b\n", encoding="utf-8")
    (tmp_path / "b.yaml").write_text("x: [\n", encoding="utf-8")
    files = [str(tmp_path / "a.yaml"), str(tmp_path / "b.yaml")]
    with pytest.raises(StudyError) as caught:
        check_config_files(files)
    assert len(caught.value.problems) == 2
    command = [sys.executable, "-m", "strainstudy.intake.settings_files", *files]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr == f"{caught.value}\n"


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode)))
def test_any_bytes_are_read_or_are_a_problem_and_never_an_exception(tmp_path, content):
    lines = said(tmp_path, content)
    if not lines:
        assert isinstance(yaml.safe_load(content.decode("utf-8-sig")), dict | None)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.sampled_from(["study", "results", "batches", "norms"]), min_size=1, max_size=8))
def test_a_key_is_refused_exactly_as_often_as_it_is_there_again(tmp_path, keys):
    lines = said(tmp_path, "".join(f"{key}: 1\n" for key in keys))
    assert len(lines) == len(keys) - len(set(keys))
