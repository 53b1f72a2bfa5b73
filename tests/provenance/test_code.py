from pathlib import Path

import pytest
from strainstudy.io.readers.suffixes import FORMATS
from strainstudy.provenance import code


@pytest.fixture
def package(tmp_path, monkeypatch):
    """A package of the same name in which stage -> helper, and other stands alone."""
    for name, text in {
        "__init__.py": '"""Package."""\n',
        "stage.py": "from .parts import helper\n\ndef run():\n    return helper.x\n",
        "other.py": "y = 1\n",
        "parts/__init__.py": "",
        "parts/helper.py": '"""Helps."""\nx = 1\n',
    }.items():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    monkeypatch.setattr(code, "_ROOT", tmp_path)

    def clear():
        for function in (code._file_of, code._read, code.package_imports):
            function.cache_clear()

    def hashed(module, edit=None):
        if edit is not None:
            Path(tmp_path / edit[0]).write_text(edit[1])
        clear()
        return code.code_hash(f"strainstudy.{module}")

    yield hashed
    clear()


def test_changed_code_of_an_imported_module_changes_the_hash(package):
    assert package("stage") != package("stage", ("parts/helper.py", '"""Helps."""\nx = 2\n'))


def test_a_comment_or_a_docstring_changes_nothing(package):
    assert package("stage") == package("stage", ("parts/helper.py", '"""Helps more."""\nx = 1  # one\n'))


@pytest.mark.parametrize(
    "text", ["x = 1.0\n", "x = True\n", "x = '1'\n", "x = -1\n", "x: int = 1\n", "x = 1\nif x:\n    x\n"]
)
def test_what_looks_nearly_the_same_changes_the_hash(package, text):
    assert package("stage") != package("stage", ("parts/helper.py", text))


def test_an_unrelated_module_changes_nothing(package):
    assert package("stage") == package("stage", ("other.py", "y = 2\n"))


def test_an_import_inside_a_function_counts(package):
    before = package("stage", ("stage.py", "def run():\n    from . import other\n    return other.y\n"))
    assert before != package("stage", ("other.py", "y = 3\n"))


def test_a_module_that_is_not_there_is_said(package):
    with pytest.raises(ModuleNotFoundError, match=r"strainstudy\.nowhere is not"):
        package("nowhere")


def test_the_hash_of_a_stage_covers_the_readers_that_it_loads_by_name():
    readers = "strainstudy.io.readers"
    assert {f"{readers}.{form}" for form in FORMATS.values()} <= code.package_imports(readers)
