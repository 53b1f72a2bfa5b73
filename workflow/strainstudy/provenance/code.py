"""A hash of what a module of the package does, so that a stage runs again when its code changes and only then.

In: a module's name. Out: SHA-256 over the syntax trees, docstrings left out, of the module and of every module
of the package that it imports, directly or not. A comment, a docstring or a new time stamp changes nothing.
"""

from __future__ import annotations

import ast
import hashlib
from functools import cache
from pathlib import Path

__all__ = ["code_hash", "package_imports"]

_PACKAGE = __package__.partition(".")[0]
_ROOT = Path(__file__).resolve().parents[1]
_IMPORTS = (ast.Import, ast.ImportFrom)
_DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)


@cache
def _file_of(module: str) -> Path | None:
    base = _ROOT.joinpath(*module.split(".")[1:])
    for path in (base / "__init__.py", base.with_suffix(".py")):
        if path.is_file():
            return path
    return None


def _write(node: ast.AST, words: list[str], imports: list[ast.Import | ast.ImportFrom]) -> None:
    """Write a syntax tree as words, docstrings left out, and gather its imports on the way: both in one walk.

    `ast.dump` and `ast.walk` take three times as long, at every start of the engine.
    """
    kind = type(node)
    words.append(kind.__name__)
    if kind in _IMPORTS:
        imports.append(node)  # type: ignore[arg-type]
    elif kind in _DOCUMENTED and ast.get_docstring(node, clean=False) is not None:  # type: ignore[arg-type]
        node.body = node.body[1:]  # type: ignore[attr-defined]
    for name in kind._fields:
        value = getattr(node, name)
        if isinstance(value, ast.AST):
            _write(value, words, imports)
        elif isinstance(value, list):
            words.append("[")
            for entry in value:
                if isinstance(entry, ast.AST):
                    _write(entry, words, imports)
                else:
                    words.append(repr(entry))
            words.append("]")
        else:
            words.append(repr(value))


@cache
def _read(module: str) -> tuple[bytes, tuple[ast.Import | ast.ImportFrom, ...]]:
    """Give what a module does as text, and what it imports."""
    path = _file_of(module)
    if path is None:
        raise ModuleNotFoundError(f"{module} is not a module of {_PACKAGE}")
    words: list[str] = [module]
    imports: list[ast.Import | ast.ImportFrom] = []
    _write(ast.parse(path.read_text(encoding="utf-8")), words, imports)
    return "\n".join(words).encode(), tuple(imports)


@cache
def package_imports(module: str) -> frozenset[str]:
    """Name the package's modules that ``module`` imports anywhere in its text, parents included.

    Raises
    ------
    ModuleNotFoundError
        If ``module`` is not a module of the package.
    """
    path = _file_of(module)
    is_package = path is not None and path.name == "__init__.py"
    found: set[str] = set()
    for node in _read(module)[1]:
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        else:
            base = node.module or ""
            if node.level:
                parts = module.split(".")
                parts = parts[: len(parts) - node.level + is_package]
                base = ".".join([*parts, base] if base else parts)
            found.add(base)
            found.update(f"{base}.{alias.name}" for alias in node.names)
    modules = {name for name in found if name.split(".")[0] == _PACKAGE and _file_of(name)}
    for name in [module, *modules]:
        while "." in name:
            name = name.rpartition(".")[0]
            modules.add(name)
    return frozenset(modules - {module})


def code_hash(*modules: str) -> str:
    """Hash the code of ``modules`` and of all package modules they need.

    Parameters
    ----------
    *modules : str
        Dotted names, for example ``"strainstudy.stages.segment"``.

    Returns
    -------
    str
        Hexadecimal SHA-256.

    Raises
    ------
    ModuleNotFoundError
        If one of them is not a module of the package.
    """
    todo, seen = list(modules), set()
    while todo:
        module = todo.pop()
        if module not in seen:
            seen.add(module)
            todo.extend(package_imports(module) - seen)
    digest = hashlib.sha256()
    for module in sorted(seen):
        digest.update(_read(module)[0] + b"\n")
    return digest.hexdigest()
