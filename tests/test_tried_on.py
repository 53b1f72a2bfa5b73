"""The page of real recordings: its form as it was written, and that a wrong folder is refused in one sentence."""

import re
from pathlib import Path

import pandas as pd
import pytest
from experiments.tried_on import CHOICES, SETS, main

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs/tried-on.md"


def sections(text: str) -> list[str]:
    return re.findall(r"^## (.+)$", text, flags=re.MULTILINE)


def test_the_page_names_every_data_set_with_its_licence_and_no_place_on_a_machine(tmp_path):
    text = PAGE.read_text(encoding="utf-8")
    for each in SETS.values():
        (row,) = (line for line in text.splitlines() if line.startswith(f"| {each.name} |") and each.source in line)
        people, recordings, minutes = (cell.strip() for cell in row.split("|")[2:5])
        assert int(people) >= 1 and int(recordings) >= int(people) and float(minutes) > 0
        assert each.licence in row
    assert not re.search(r"(/work|/tmp|/root|/home)\b", text)
    assert "not given" not in text
    for rule, chosen, left in CHOICES:
        assert f"| {rule} | {chosen} | {left} |" in text
    assert "(docs/tried-on.md)" in (ROOT / "README.md").read_text(encoding="utf-8")
    empty = tmp_path / "page.md"
    assert main([str(empty)]) == 0
    assert sections(empty.read_text(encoding="utf-8")) == sections(text)


def test_tables_of_the_page_are_whole():
    width = 0
    for line in PAGE.read_text(encoding="utf-8").splitlines():
        if not line.startswith("|"):
            width = 0
            continue
        width = width or line.count("|")
        assert line.count("|") == width, line
        assert "nan" not in line


def test_what_was_not_given_is_left_out_and_said_so(tmp_path):
    page = tmp_path / "page.md"
    assert main([str(page)]) == 0
    text = page.read_text(encoding="utf-8")
    assert text.count("not given | - | - |") == len(SETS)
    assert "Left out: treadmill walks not given." in text


@pytest.mark.parametrize("kind", ["missing", "empty", "other"])
def test_a_wrong_folder_is_refused_in_one_sentence_and_nothing_is_written(tmp_path, capsys, kind):
    folder, page = tmp_path / "folder", tmp_path / "page.md"
    if kind != "missing":
        folder.mkdir()
    if kind == "other":
        pd.DataFrame({"recording_id": ["sub-01_walk"], "file": ["a.csv"]}).to_csv(
            folder / "recordings.tsv", sep="\t", index=False
        )
    assert main([str(page), str(folder)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and said.endswith(".\n")
    assert str(folder) in said
    assert not page.exists()
