"""Whose a results folder is: new or empty or marked as ours, else it is refused with the remedy."""

from __future__ import annotations

import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from strainstudy.intake.claims import folder_problems, planned_problems
from strainstudy.io.ledger import LEDGER, MARKER, begin, read_ledger, settle
from strainstudy.provenance.adopt import earlier_files, main
from strainstudy.provenance.manifest import MANIFEST, sha256_of


def said(folder: Path, study: Path) -> list[str]:
    return [f"{p.message}; {p.remedy}" for p in folder_problems(str(folder), str(study), "my.yaml")]


def in_the_way(folder: Path, *planned: str, inputs=()) -> list[str]:
    return [str(problem).removeprefix(f"{folder}/") for problem in planned_problems(folder, planned, inputs)]


def study_in(folder: Path) -> Path:
    folder.mkdir(parents=True)
    (folder / "recordings.tsv").write_text("", encoding="utf-8")
    return folder


@pytest.mark.parametrize("held", ["figures/my_paper_figure.png", "report.html", ".hidden", "a/b/c/deep.txt"])
def test_a_folder_that_is_not_ours_and_holds_any_file_is_refused(tmp_path, held):
    path = tmp_path / "out" / held
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("mine", encoding="utf-8")
    (fault,) = said(tmp_path / "out", tmp_path / "study")
    assert fault == f"a folder that strainstudy did not make and that is not empty ({held}); name another folder"


def test_a_link_in_a_folder_that_is_not_ours_counts_as_a_file(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out/tables").symlink_to(tmp_path, target_is_directory=True)
    assert "(tables)" in said(tmp_path / "out", tmp_path / "study")[0]


@pytest.mark.parametrize("left", [(), ("signals", "logs/ingest"), (f".{MARKER}.12.part",), (".DS_Store",)])
def test_a_new_or_empty_folder_or_a_start_that_was_stopped_is_taken(tmp_path, left):
    assert said(tmp_path / "out", tmp_path / "study") == []
    for name in left:
        path = tmp_path / "out" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("") if name.startswith(".") else path.mkdir()
    assert said(tmp_path / "out", tmp_path / "study") == []


def test_results_of_another_study_are_refused_while_that_study_is_there_and_taken_once_it_has_moved(tmp_path):
    first, second = study_in(tmp_path / "first"), study_in(tmp_path / "second")
    begin(tmp_path / "out", [], first)
    assert said(tmp_path / "out", first) == []
    (fault,) = said(tmp_path / "out", second)
    assert fault.startswith(f"holds the results of another study, {first}, which is still there; name another folder")
    first.rename(tmp_path / "moved")
    assert said(tmp_path / "out", tmp_path / "moved") == []


def test_a_study_reached_by_a_link_is_the_same_study(tmp_path):
    study = study_in(tmp_path / "study")
    (tmp_path / "link").symlink_to(study, target_is_directory=True)
    begin(tmp_path / "out", [], tmp_path / "link")
    assert said(tmp_path / "out", study) == []


@pytest.mark.parametrize("study", ["\0", "x/" * 3000, "x" * 300, ""])
def test_a_marker_whose_study_cannot_be_found_is_no_hindrance(tmp_path, study):
    (tmp_path / MARKER).write_text(f"format: 1\nstudy: {study}\n", encoding="utf-8")
    assert said(tmp_path, tmp_path / "study") == []


def test_a_folder_in_place_of_the_marker_is_named(tmp_path):
    (tmp_path / MARKER).mkdir()
    assert in_the_way(tmp_path) == [f"{MARKER}: a folder stands where this run writes a file; move it elsewhere."]


def test_results_of_a_later_version_are_left_alone(tmp_path):
    begin(tmp_path / "out", [], tmp_path / "study")
    marker = tmp_path / "out" / MARKER
    marker.write_text(marker.read_text(encoding="utf-8").replace("format: 1", "format: 2"), encoding="utf-8")
    assert said(tmp_path / "out", tmp_path / "study") == [
        "was written by a later version of strainstudy; update it, or name another folder"
    ]


def test_a_file_of_the_user_under_a_name_of_ours_is_named_and_one_of_ours_is_not(tmp_path):
    begin(tmp_path, ["tables/gait.tsv", "figures/gait.png"], tmp_path / "study")
    for name in ("tables/gait.tsv", "figures/mine.png"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("", encoding="utf-8")
    settle(tmp_path)
    assert in_the_way(tmp_path, "tables/gait.tsv", "figures/gait.png") == []
    (tmp_path / "figures/gait.png").write_text("mine", encoding="utf-8")
    (fault,) = in_the_way(tmp_path, "tables/gait.tsv", "figures/gait.png")
    assert fault.startswith("figures/gait.png: a file of yours stands where this run writes one; move or rename it")


def test_a_file_where_a_folder_must_be_and_a_folder_where_a_file_must_be_are_named(tmp_path):
    (tmp_path / "tables").write_text("", encoding="utf-8")
    (tmp_path / "report.html").mkdir()
    (tmp_path / "model").symlink_to(tmp_path / "nowhere", target_is_directory=True)
    faults = in_the_way(tmp_path, "tables/gait.tsv", "tables/events.tsv", "report.html", "model/card.json")
    assert faults == [
        "model: a link that leads nowhere stands where a folder is needed; remove it.",
        "tables: a file stands where a folder is needed; move it elsewhere.",
        "report.html: a folder stands where this run writes a file; move it elsewhere.",
    ]


def test_a_folder_of_the_results_that_is_a_link_to_what_is_read_is_refused_and_one_to_a_larger_disk_is_not(tmp_path):
    out, study, disk = tmp_path / "out", study_in(tmp_path / "study"), tmp_path / "disk"
    for folder in (out, disk):
        folder.mkdir()
    (out / "signals").symlink_to(disk, target_is_directory=True)
    read = [study / "recordings.tsv"]
    assert in_the_way(out, "signals/a.parquet", inputs=read) == []
    (out / "tables").symlink_to(study, target_is_directory=True)
    (fault,) = in_the_way(out, "signals/a.parquet", "tables/gait.tsv", inputs=read)
    assert fault == f"tables: is a link to where {read[0]} lies, which this run reads; remove the link."


def test_a_name_too_long_for_the_file_system_is_said_before_the_drawing_of_it_fails(tmp_path):
    (fault,) = in_the_way(tmp_path, f"figures/recordings/{'r' * 245}.svg")
    assert fault.endswith("a file name that is too long for the file system; shorten the id in it.")
    assert in_the_way(tmp_path, f"figures/recordings/{'r' * 200}.svg") == []


def test_of_very_many_files_in_the_way_the_first_are_named_and_the_rest_counted(tmp_path):
    begin(tmp_path, [], tmp_path / "study")
    names = [f"{i}.txt" for i in range(30)]
    for name in names:
        (tmp_path / name).write_text("", encoding="utf-8")
    faults = in_the_way(tmp_path, *names)
    assert len(faults) == 11
    assert faults[-1].endswith("20 more of this kind; look through the folder.")


def earlier(folder: Path) -> None:
    """Write results as a version without ledger left them, with files of the user among them."""
    for name in ("tables/gait.tsv", "signals/people-0.parquet", "figures/a.png", "model/history.json", "report.html"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(name, encoding="utf-8")
    outputs = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    rows = [("output", p.relative_to(folder).as_posix(), "1", sha256_of(p)) for p in outputs]
    rows += [("output", "../../outside.txt", "1", "0" * 64), ("input", "raw/a.csv", "1", "0" * 64)]
    (folder / "provenance").mkdir()
    text = "\n".join("\t".join(row) for row in [MANIFEST.names, *rows]) + "\n"
    (folder / MANIFEST.path).write_text(text, encoding="utf-8")
    for name in ("stages/ingest/people-0.parquet", "stages/ingest/mine.parquet", "figures/mine.png", "logs/mine.log"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("", encoding="utf-8")
    (folder / "model/history.tsv").write_text("", encoding="utf-8")


def test_of_an_earlier_version_only_what_it_surely_wrote_is_taken_over(tmp_path):
    earlier(tmp_path)
    (tmp_path / "report.html").write_text("edited by hand", encoding="utf-8")
    assert earlier_files(tmp_path) == [
        "figures/a.png",
        "model/history.json",
        "model/history.tsv",
        "provenance/manifest.tsv",
        "signals/people-0.parquet",
        "stages/ingest/people-0.parquet",
        "tables/gait.tsv",
    ]


def test_the_refusal_of_earlier_results_gives_the_command_that_takes_them_over(tmp_path):
    earlier(tmp_path)
    (fault,) = said(tmp_path, tmp_path / "study")
    assert fault.startswith(f"results of an earlier version of strainstudy, without {MARKER}; name another folder, or")
    assert fault.endswith(f" -m strainstudy.provenance.adopt {tmp_path}")
    command = [*shlex.split(fault.rpartition(": ")[2]), "--help"]
    assert "results folder of an earlier version" in subprocess.run(command, capture_output=True, text=True).stdout


def test_a_ledger_edited_by_hand_is_refused_until_it_is_found_anew(tmp_path, monkeypatch, capsys):
    earlier(tmp_path)
    begin(tmp_path, [], tmp_path / "study")
    (tmp_path / "tables/mine.tsv").write_text("mine", encoding="utf-8")
    with (tmp_path / LEDGER).open("a", encoding="utf-8") as ledger:
        ledger.write("before\ttables/mine.tsv\n")
    (fault,) = in_the_way(tmp_path, "tables/gait.tsv")
    assert f"{LEDGER}, by which the files of strainstudy are known, was changed by other hands" in fault
    monkeypatch.setattr(sys, "argv", ["adopt", str(tmp_path)])
    main()
    assert "files taken over, none changed" in capsys.readouterr().out
    assert in_the_way(tmp_path, "tables/gait.tsv") == []
    assert "tables/mine.tsv" not in read_ledger(tmp_path).names


def test_without_its_ledger_a_folder_is_refused_and_taken_over_by_the_command(tmp_path, monkeypatch, capsys):
    earlier(tmp_path)
    begin(tmp_path, [], tmp_path / "study")
    (tmp_path / LEDGER).unlink()
    (fault,) = in_the_way(tmp_path, "tables/gait.tsv", "tables/events.tsv")
    assert f"{LEDGER} is missing, by which the files of strainstudy are known; name another folder, or" in fault
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    monkeypatch.setattr(sys, "argv", ["adopt", str(tmp_path)])
    main()
    assert "8 files taken over, none changed" in capsys.readouterr().out
    assert in_the_way(tmp_path, "tables/gait.tsv", "tables/events.tsv") == []
    after = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert {path.name for path in after if before.get(path) != after[path]} <= {MARKER, "ledger.txt"}
    with pytest.raises(SystemExit, match="the folder is taken over already"):
        main()
