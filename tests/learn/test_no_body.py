"""The learner knows no body: what it imports of the package is below it."""

import ast
from pathlib import Path

import strainstudy

LEARN = Path(strainstudy.__file__).parent / "learn"
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
