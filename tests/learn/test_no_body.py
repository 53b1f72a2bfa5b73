"""The learner knows no body: what it imports of the package is below it."""

import ast
import re
from pathlib import Path

import strainstudy

LEARN = Path(strainstudy.__file__).parent / "learn"
BODY = re.compile(r"gait|walk|stride|limp|knee|swallow|throat|amplitude", re.IGNORECASE)
BELOW = {"errors", "settings", "upstream", "stats"}


def test_the_learner_imports_nothing_that_knows_a_body():
    found = {
        (node.module or "").split(".")[0]
        for file in LEARN.glob("*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.level == 2
    }
    assert found <= BELOW
    assert "stats" in found


def test_the_learner_names_no_body():
    named = {file.name: BODY.findall(file.read_text(encoding="utf-8")) for file in LEARN.glob("*.py")}
    assert {name: words for name, words in named.items() if words} == {}
    assert "parameters.py" in named
