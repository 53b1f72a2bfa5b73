"""The kit as a whole: its files, the same bytes each time, methods that say what ran, checklists that are complete."""

import re
import shutil
from pathlib import Path

import pandas as pd
import pytest
from strainstudy.paper.checklist import GUIDELINES, ITEMS, checklist_rows
from strainstudy.paper.facts import Facts
from strainstudy.paper.kinds import PAPER_KINDS, tables_of
from strainstudy.paper.methods import AUTHORS_ADD, _apart
from strainstudy.paper.names import FIGURE_NAMES, TABLE_NAMES, paper_files, table_file
from strainstudy.paper.publications import PUBLISHED, table_of
from strainstudy.paper.references import entries_in
from strainstudy.records import Recording
from strainstudy.report.results import StudyTables, usable_minutes
from strainstudy.tables import read_described
from strainstudy.tables.recordings import RECORDINGS
from strainstudy.tables.sensors import RECORDINGS_DIFFER


def files_below(root):
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in (root / "paper").rglob("*.*")}


def test_the_kit_is_whole_and_writes_no_file_that_the_plan_does_not_know(results):
    assert set(files_below(results)) == set(paper_files())
    assert tuple(PUBLISHED) == TABLE_NAMES


def test_every_figure_is_drawn_by_one_job_and_most_of_them_need_no_validation():
    assert sorted(name for names in PAPER_KINDS.values() for name in names) == sorted(FIGURE_NAMES)
    validated = {kind for kind in PAPER_KINDS if any(spec.path.startswith("validation/") for spec in tables_of(kind))}
    assert validated == {"angles", "proof"}


def test_the_same_results_give_the_same_bytes(results, tmp_path, write_results, kit):
    write_results(tmp_path)
    assert kit(tmp_path) == f"{len(FIGURE_NAMES)} figures and {len(TABLE_NAMES)} tables for a paper"
    assert files_below(tmp_path) == files_below(results)


def test_a_study_with_nothing_gives_methods_and_no_figure_and_what_was_there_goes(tmp_path, kit):
    old = tmp_path / "paper/figures/knee_curves_85mm.pdf"
    old.parent.mkdir(parents=True)
    old.write_bytes(b"of an earlier run")
    mine = tmp_path / "paper/figures/mine.pdf"
    mine.write_bytes(b"mine")
    assert kit(tmp_path, empty=True) == "0 figures and 0 tables for a paper"
    assert sorted(files_below(tmp_path)) == [
        "paper/captions.md", "paper/checklist.json", "paper/checklist.tsv", "paper/figures/mine.pdf",
        "paper/methods.md", "paper/references.bib",
    ]  # fmt: skip


def test_methods_cite_only_what_the_references_hold(results):
    text = (results / "paper/methods.md").read_text(encoding="utf-8")
    entries = entries_in((results / "paper/references.bib").read_text(encoding="utf-8"))
    cited = {key for group in re.findall(r"\[(@[^\]]+)\]", text) for key in re.findall(r"@(\w+)", group)}
    assert len(cited) > 25
    assert cited - set(entries) == set()


def test_methods_say_what_ran_of_this_study(results):
    text = (results / "paper/methods.md").read_text(encoding="utf-8")
    for words in (
        "4 participants took part (1 control and 3 stroke)",
        "gauge length was 40 mm",
        "resistance at rest 10.5 kΩ",
        "sampled at 100 Hz",
        "supplied with 3.3 V",
        "1 could not be used",
        "anna 8 recordings and berta 8 recordings",
        "10.0 min of rest and gait states",
        "low-pass cutoff was 6.0 Hz for knees",
        "No setting was changed: all settings had their defaults.",
        "A turn is the run of two swings or more",
        "whole 95 % interval lies beyond 8 % (symmetry index of step time)",
        "of a participant without an affected side the mean of both stands for either",
        "each participant was left out in turn",
        "do not show aspiration",
    ):
        assert words in text, words
    assert "nan" not in re.findall(r"\w+", text)
    assert "None" not in text
    for title, _ in AUTHORS_ADD:
        assert f"- **{title}**" in text


def test_captions_stand_in_one_file_with_every_figure_and_table(results):
    text = (results / "paper/captions.md").read_text(encoding="utf-8")
    headings = re.findall(r"^## (\w+) (\w+)$", text, flags=re.MULTILINE)
    assert headings == [*(("Figure", n) for n in FIGURE_NAMES), *(("Table", n) for n in TABLE_NAMES)]
    assert "8 pairs of 4 participants" in text


def test_what_labels_cannot_validate_is_said_wherever_it_is_shown(results):
    words = "Stride-time CV cannot be validated with these labels"
    captions = (results / "paper/captions.md").read_text(encoding="utf-8")
    own = {
        title for title, text in re.findall(r"^## (\w+ \w+)$(.*?)(?=^## |\Z)", captions, re.M | re.S) if words in text
    }
    assert own == {
        "Figure limits_of_agreement", "Figure groups", "Figure reliability", "Table outcomes",
        "Table parameter_agreement", "Table reliability",
    }  # fmt: skip
    assert words in (results / "paper/methods.md").read_text(encoding="utf-8")


def test_a_table_reads_back_as_described_and_its_words_are_those_of_the_latex(results):
    table = read_described(results / table_file("sides"))
    row = table.query("measure == 'step time (s)'").iloc[0]
    assert row["n"] == "3"
    assert row["paretic_mean_sd"] == "2.10 (0.100)"
    text = (results / table_file("sides", "tex")).read_text(encoding="utf-8")
    assert "step time (s) & limping gait & 3 & 2.10 (0.100) & 1.10 (0.100) & 1.00" in text
    flow = (results / table_file("flow", "tex")).read_text(encoding="utf-8")
    assert r"ends \textless{} early \& 5 \%" in flow


def test_labels_and_minutes_are_counted_in_the_flow_as_in_the_methods_and_the_report(results, tmp_path):
    """Eight labelled walks of 60 s: of one a quarter is missing, one was rejected, which leaves 6.75 min."""
    copy = shutil.copytree(results, tmp_path / "copy")
    table = read_described(copy / RECORDINGS.path)
    walks = table.index[table["task"] == "walk"]
    table["missing_fraction"] = 0.0
    labels = {"anna": Path("anna_events.tsv")}
    table.loc[walks[0], "missing_fraction"] = 0.25
    table.loc[walks[1], "status"] = "rejected"
    table.to_csv(copy / RECORDINGS.path, sep="\t", na_rep="n/a", index=False)
    tables = StudyTables(copy)
    known = {n: Recording(n, "walk", Path(), "", labels=labels) for n in table.loc[walks, "recording_id"]}
    facts = Facts({}, {}, known, {})
    row = table_of("flow", tables, facts).set_index("task").loc["walk"]
    assert (row["recorded"], row["rejected"], row["with labels"]) == ("8", "1", "8")
    assert row["minutes used"] == "6.75"
    assert usable_minutes(tables.recordings[tables.recordings["task"] == "walk"]) == pytest.approx(6.75)


@pytest.mark.parametrize(
    ("guideline", "items", "of_which_numbered"),
    [("STROBE", 26, 22), ("TRIPOD+AI", 52, 27), ("STARD 2015", 34, 30), ("GRRAS", 15, 15)],
)
def test_a_checklist_has_every_item_of_its_guideline(guideline, items, of_which_numbered):
    """Numbers of items: 27 with 52 parts (Collins et al. 2024, from memory 90 %), 30 (Bossuyt et al. 2015), 15
    (Kottner et al. 2011), 22 (von Elm et al. 2007); the parts of STROBE 6, 13, 14 and 16 are taken together here.
    """
    own = [item.number for item in ITEMS if item.guideline == guideline]
    assert len(own) == len(set(own)) == items
    assert list(dict.fromkeys(int(re.match(r"\d+", n)[0]) for n in own)) == list(range(1, of_which_numbered + 1))


def test_items_are_answered_by_files_that_the_kit_has_or_handed_to_the_authors():
    known = set(paper_files())
    for item in ITEMS:
        assert item.answered in ("yes", "partly", "authors")
        named = [word.strip(",;:") for word in item.where.split() if word.startswith("paper/")]
        assert set(named) <= known, item
    assert {item.guideline for item in ITEMS} == set(GUIDELINES)


def test_an_item_whose_answer_a_study_does_not_give_goes_to_the_authors():
    made = ["paper/methods.md"]
    rows = checklist_rows(["GRRAS"], made).set_index("item")
    assert rows.loc["10", "answered"] == "yes"
    assert rows.loc["13", "answered"] == "authors"
    assert set(rows["guideline"]) == {"GRRAS"}


def test_methods_name_a_sensor_whose_recordings_differ_and_what_each_gives():
    """What the table leaves out for a reason is told with the reason where the table is described."""
    note = "no single value: 8 (7.9 to 8.1) in a; 5 (4.9 to 5.1) in b; they differ beyond their intervals"
    row = {"sensor_id": "S_1", "n_cycles": 10, "warning": RECORDINGS_DIFFER, "gauge_factor_note": note}
    assert _apart(pd.DataFrame([row, row | {"sensor_id": "S_2", "warning": None}])) == (
        " Of sensor S_1 no single gauge factor, nor what rests on it, is given, as its recordings differ beyond their "
        "intervals: 8 (7.9 to 8.1) in a and 5 (4.9 to 5.1) in b."
    )
