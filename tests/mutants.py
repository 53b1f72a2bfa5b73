"""How many wrong lines the tests let through: ``make mutants``, or ``python tests/mutants.py --seed 7 --number 30``.

One operator, comparison or constant of the package is changed at a time, in a temporary copy of the checkout, and the
tests of the mirrored folder run against it. A mutant that they let through is printed with its place and its change:
it is a missing test, or no change of what the line does. Settings are left out (a test holds them equal to
``config/config.yaml``), as are texts, annotations, what is raised, and the packages that draw or only call
others.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import multiprocessing
import os
import py_compile
import random
import re
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
PACKAGE = Path("workflow/strainstudy")
APART = ("report", "stages")
BESIDE = {"intake": "test_study.py"}
"""Tests of a room that lie above its mirrored folder: a study is checked as a whole."""
KEPT = ("workflow", "tests", "config", "docs", "demo_raw", ".cache", "pyproject.toml", "Snakefile")
LIBRARIES = (
    "hypothesis",
    "pandas",
    "pytest",
    "scipy.interpolate",
    "scipy.optimize",
    "scipy.signal",
    "scipy.stats",
    "sklearn",
)
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

OPERATORS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv, ast.Pow: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.And: ast.Or,
    ast.Or: ast.And, ast.MatMult: ast.Mult,
}  # fmt: skip
REVERSED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
EDGE: dict[type[ast.AST], type[ast.AST]] = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}

GUARD = 1e-9
"""Smaller constants only keep a division from nothing; twice as much keeps it as well."""
CONTEXT = multiprocessing.get_context("forkserver")
"""Each run is forked from a process that has loaded the libraries and nothing of the package."""


@dataclass(frozen=True)
class Mutant:
    """One changed expression: module below the package, its source, the node, and what stands there instead."""

    module: Path
    source: bytes
    node: ast.expr
    after: str

    def __str__(self) -> str:
        place = f"{self.module}:{self.node.lineno}:{self.node.col_offset + 1}"
        line = self.source.splitlines()[self.node.lineno - 1].decode().strip()
        return f"{place}  {ast.unparse(self.node)}  ->  {self.after}    | {line}"

    def text(self) -> bytes:
        """Source of the module with the change in it."""
        lines = self.source.splitlines(keepends=True)
        ahead, behind = b"".join(lines[: self.node.lineno - 1]), b"".join(lines[: self.node.end_lineno - 1])
        start, stop = len(ahead) + self.node.col_offset, len(behind) + self.node.end_col_offset
        return self.source[:start] + f"({self.after})".encode() + self.source[stop:]


def _passed_over(node: ast.AST) -> bool:
    called = node.func if isinstance(node, ast.Call) else None
    name = getattr(called, "attr", getattr(called, "id", ""))
    of = getattr(getattr(called, "value", None), "id", "")
    return isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom) or name == "setting" or of == "log"


def _expressions(node: ast.AST) -> Iterator[ast.expr]:
    """Give every expression but those that are passed over: annotations, what is raised, texts, settings, logging."""
    if isinstance(node, ast.expr):
        yield node
    for name, field in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "bases"):
            continue
        for child in field if isinstance(field, list) else [field]:
            if isinstance(child, ast.AST) and not _passed_over(child):
                yield from _expressions(child)


def _changes(node: ast.expr) -> Iterator[ast.expr]:
    """Give the wrong expressions that one slip makes of this one."""
    if isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        yield ast.BinOp(node.left, OPERATORS[type(node.op)](), node.right)
    elif isinstance(node, ast.BoolOp):
        yield ast.BoolOp(OPERATORS[type(node.op)](), node.values)
    elif isinstance(node, ast.UnaryOp):
        yield node.operand
    elif isinstance(node, ast.Compare) and len(node.ops) == 1:
        yield ast.Compare(node.left, [REVERSED[type(node.ops[0])]()], node.comparators)
        # only of counts does the edge matter: two measured numbers are never equal
        sides = (node.left, node.comparators[0])
        if type(node.ops[0]) in EDGE and any(isinstance(x, ast.Constant) and type(x.value) is int for x in sides):
            yield ast.Compare(node.left, [EDGE[type(node.ops[0])]()], node.comparators)
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield ast.Constant(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        yield from (ast.Constant(node.value + 1), ast.Constant(node.value - 1))
    elif isinstance(node, ast.Constant) and isinstance(node.value, float) and not 0 < node.value < GUARD:
        yield from (ast.Constant(node.value * 2), ast.Constant(node.value / 2)) if node.value else [ast.Constant(1.0)]


def sample(root: Path, number: int, seed: int, only: str = "") -> list[Mutant]:
    """Draw mutants: expressions with the same chance each, then one of the ways to change it.

    Parameters
    ----------
    root : Path
        The checkout or a copy of it.
    number : int
        How many; fewer if the modules have fewer places.
    seed : int
        The same seed and sources give the same mutants.
    only : str
        Take places that begin so, as ``gait/``, ``gait/contacts.py`` or ``gait/contacts.py:61:``.
    """
    places = []
    for path in sorted((root / PACKAGE).rglob("*.py")):
        module, source = path.relative_to(root / PACKAGE), path.read_bytes()
        if module.parts[0] not in APART:
            nodes = [n for n in _expressions(ast.parse(source)) if f"{module.as_posix()}:{n.lineno}:".startswith(only)]
            places += [(module, source, node, ways) for node in nodes if (ways := list(_changes(node)))]
    drawn = random.Random(seed)
    chosen = drawn.sample(places, min(number, len(places)))
    return [Mutant(module, source, node, ast.unparse(drawn.choice(ways))) for module, source, node, ways in chosen]


def tests_of(root: Path, module: Path) -> list[str]:
    """Test files of the mirrored folder or the nearest above it that has any; those that import the module first."""
    found = next(files for room in module.parents if (files := sorted((root / "tests" / room).glob("test_*.py"))))
    found += [root / "tests" / BESIDE[module.parts[0]]] if module.parts[0] in BESIDE else []
    dotted, stem = re.escape(".".join(module.parent.parts)), module.stem
    imports = re.compile(rf"strainstudy\.{dotted}\.{stem}\b|from strainstudy\.{dotted} import .*\b{stem}\b")
    found.sort(key=lambda path: not imports.search(path.read_text(encoding="utf-8")))
    return [path.relative_to(root).as_posix() for path in found]


def copy_checkout(copy: Path) -> None:
    """Copy what tests need; compiled files go by the hash of the source, as a change may keep its time and length."""
    for name in KEPT:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif source.exists():
            shutil.copy2(source, copy / name)
    compileall.compile_dir(copy / PACKAGE, quiet=2, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH)


def _tests(copy: Path, files: list[str]) -> None:
    """Run tests in this process, which was forked for them, and leave with pytest's status."""
    os.setsid()
    silence = os.open(os.devnull, os.O_RDWR)
    for stream in (1, 2):
        os.dup2(silence, stream)
    os.chdir(copy)
    os.environ["PYTHONPATH"] = str(copy / "workflow")
    sys.path[:] = [str(copy / "workflow"), *(p for p in sys.path if p not in (str(ROOT / "workflow"), str(HERE)))]
    import pytest

    sys.exit(pytest.main(["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "--tb=no", *files]))


def run_tests(copy: Path, files: list[str], limit_s: float) -> str:
    """Run tests in the copy: ``passed``, ``failed`` or ``out of time``."""
    tests = CONTEXT.Process(target=_tests, args=(copy, files))
    tests.start()
    try:
        tests.join(limit_s)
        late = tests.is_alive()
    finally:
        if tests.is_alive():
            os.killpg(tests.pid, signal.SIGKILL)
            tests.join()
    return "out of time" if late else "passed" if tests.exitcode == 0 else "failed"


def main() -> int:
    """Try the mutants of the command line; 1 if the unchanged package already fails its tests."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--number", type=int, default=90, help="how many mutants (90)")
    words.add_argument("--seed", type=int, default=1, help="of the sample (1)")
    words.add_argument("--minutes", type=float, default=30, help="start no further mutant after this time (30)")
    words.add_argument(
        "--only", default="", help="places that begin so: gait/ or gait/contacts.py or gait/contacts.py:61:"
    )
    asked = words.parse_args()
    began, killed, survived, usual = time.monotonic(), 0, [], {}
    os.environ.update(ONE_THREAD)
    CONTEXT.set_forkserver_preload(list(LIBRARIES))
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Path(folder)
        copy_checkout(copy)
        for mutant in sample(copy, asked.number, asked.seed, asked.only):
            if time.monotonic() - began > 60 * asked.minutes:
                sys.stdout.write(f"time is up after {asked.minutes:g} minutes\n")
                break
            files, start = tests_of(copy, mutant.module), time.monotonic()
            if frozenset(files) not in usual:
                if run_tests(copy, files, 600) != "passed":
                    sys.stdout.write(f"the tests of {mutant.module.parent} fail without any change\n")
                    return 1
                usual[frozenset(files)] = time.monotonic() - start
            place = copy / PACKAGE / mutant.module
            place.write_bytes(mutant.text())
            found = run_tests(copy, files, 30 + 4 * usual[frozenset(files)])
            place.write_bytes(mutant.source)
            killed += found != "passed"
            survived += [mutant] if found == "passed" else []
            sys.stdout.write(f"{'SURVIVED' if found == 'passed' else 'killed  '}  {mutant}\n")
            sys.stdout.flush()
    tried = killed + len(survived)
    sys.stdout.write(f"{killed} of {tried} killed (seed {asked.seed}, {(time.monotonic() - began) / 60:.0f} minutes)\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
