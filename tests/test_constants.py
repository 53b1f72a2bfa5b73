"""Numbers of the package, held to having a word beside them: what they are, their unit, and what they rest on."""

import ast
import io
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "workflow" / "strainstudy"
LITERALS = (ast.Constant, ast.Name, ast.Attribute, ast.Tuple, ast.List, ast.Set, ast.Dict, ast.BinOp, ast.UnaryOp)
MODULES = sorted(PACKAGE.rglob("*.py"))


def holds_a_number(value: ast.expr) -> bool:
    """Whether a number stands in it, by itself or in a collection; what calls are given has the words of the call."""
    if isinstance(value, ast.Constant):
        return isinstance(value.value, int | float) and not isinstance(value.value, bool)
    parts = [part for part in ast.iter_child_nodes(value) if isinstance(part, ast.expr)]
    return isinstance(value, LITERALS) and any(holds_a_number(part) for part in parts)


def wordless(source: str) -> Iterator[tuple[int, str]]:
    """Give line and name of each number at module level without a comment on or above it or a text right below it."""
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    marks = ("# fmt:", "# noqa", "# type:")
    said = {t.start[0] for t in tokens if t.type == tokenize.COMMENT and not t.string.startswith(marks)}
    body = ast.parse(source).body
    for node, below in zip(body, [*body[1:], None], strict=True):
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None and holds_a_number(node.value):
            text = isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant)
            if not text and said.isdisjoint(range(node.lineno - 1, node.end_lineno + 1)):
                yield node.lineno, ast.unparse(node).partition(" =")[0]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_every_number_at_module_level_has_a_word_beside_it(path):
    assert list(wordless(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    ("source", "name"),
    [
        ("A = 1.0", "A"),
        ("B: Final = (0.1, 2)", "B: Final"),
        ("C = {'x': -3}  # noqa: E501\nD = 'text'\n'Beside D.'", "C"),
        ("# Of E.\nE = 1\nF = 2 * np.pi", "F"),
    ],
)
def test_a_number_without_a_word_is_found(source, name):
    assert [found for _, found in wordless(source)] == [name]


@pytest.mark.parametrize(
    "source",
    [
        "# Seconds (ours).\nA = 1.0",
        "A = 1.0  # s",
        "A = 1.0\n'Seconds (ours).'",
        "A = 'word'",
        "A = make(3)",
        "A = True",
    ],
)
def test_a_number_with_a_word_is_not(source):
    assert list(wordless(source)) == []
