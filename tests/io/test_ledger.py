"""What the ledger lets be removed: our own files of an earlier state of the study, and nothing else, ever."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path, PurePosixPath

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.io.ledger import (
    LEDGER,
    MARKER,
    Ledger,
    Marker,
    adopt,
    begin,
    clear,
    clear_unfinished,
    read_ledger,
    read_marker,
    settle,
)

NAMES = ("signals/a.parquet", "signals/b.parquet", "figures/x.png", "report.html", "tables/gait.tsv")


def put(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(name, encoding="utf-8")


def files(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()}


def ended_process() -> int:
    child = subprocess.Popen([sys.executable, "-c", ""])
    child.wait()
    return child.pid


@given(st.sets(st.sampled_from(NAMES)), st.sets(st.sampled_from(NAMES)), st.sets(st.sampled_from(NAMES)))
def test_only_what_a_run_planned_and_the_next_does_not_is_removed(tmp_path_factory, first, second, users):
    folder = tmp_path_factory.mktemp("results")
    begin(folder, first, folder.parent / "study")
    put(folder, *first)
    clear(folder)
    settle(folder)
    put(folder, *(users - first))
    begin(folder, second, folder.parent / "study")
    put(folder, *second)
    assert clear(folder) == sorted(first - second)
    assert files(folder) == second | (users - first) | {MARKER, LEDGER}


def test_what_a_stopped_run_left_is_removed_too(tmp_path):
    begin(tmp_path, ["signals/a.parquet", "signals/b.parquet"], tmp_path)
    put(tmp_path, "signals/a.parquet")
    begin(tmp_path, ["signals/c.parquet"], tmp_path)
    begin(tmp_path, ["signals/d.parquet"], tmp_path)
    put(tmp_path, "signals/d.parquet", "signals/mine.parquet")
    assert clear(tmp_path) == ["signals/a.parquet"]
    assert files(tmp_path) == {"signals/d.parquet", "signals/mine.parquet", MARKER, LEDGER}


def test_a_name_that_was_planned_and_never_written_is_free_again_after_the_run(tmp_path):
    begin(tmp_path, ["figures/raters.png", "figures/gait.png"], tmp_path)
    put(tmp_path, "figures/gait.png")
    settle(tmp_path)
    assert read_ledger(tmp_path) == Ledger(now=frozenset({"figures/gait.png"}))


def test_a_run_that_failed_leaves_the_names_that_it_did_not_use_and_still_knows_what_is_to_go(tmp_path):
    begin(tmp_path, ["signals/a.parquet"], tmp_path)
    put(tmp_path, "signals/a.parquet")
    begin(tmp_path, ["signals/b.parquet", "figures/gait.png"], tmp_path)
    put(tmp_path, "signals/b.parquet")
    settle(tmp_path)
    assert read_ledger(tmp_path) == Ledger(frozenset({"signals/b.parquet"}), frozenset({"signals/a.parquet"}))


@pytest.mark.parametrize("name", ["../outside.txt", "/etc/hostname", "a/../../outside.txt", "", "."])
def test_a_ledger_that_names_a_file_outside_leads_nowhere(tmp_path, name):
    outside = tmp_path / "outside.txt"
    outside.write_text("mine", encoding="utf-8")
    folder = tmp_path / "results"
    adopt(folder, [name])
    assert not read_ledger(folder).changed
    assert clear(folder) == []
    assert outside.read_text(encoding="utf-8") == "mine"


def one_more(text: str) -> str:
    return text + "before\ttables/mine.tsv\n"


def renamed(text: str) -> str:
    return text.replace("tables/gait.tsv", "tables/mine.tsv")


def without_sum(text: str) -> str:
    return "".join(line for line in one_more(text).splitlines(keepends=True) if "sha256" not in line)


@pytest.mark.parametrize("edit", [one_more, renamed, without_sum])
def test_a_ledger_edited_by_hand_lets_no_file_of_the_user_be_removed_and_stays_for_him_to_put_right(tmp_path, edit):
    begin(tmp_path, ["tables/gait.tsv"], tmp_path)
    begin(tmp_path, [], tmp_path)
    put(tmp_path, "tables/mine.tsv")
    ledger = tmp_path / LEDGER
    ledger.write_text(edit(ledger.read_text(encoding="utf-8")), encoding="utf-8")
    edited = ledger.read_bytes()
    assert read_ledger(tmp_path) == Ledger(changed=True)
    assert clear(tmp_path) == []
    settle(tmp_path)
    assert files(tmp_path) == {"tables/mine.tsv", MARKER, LEDGER}
    assert ledger.read_bytes() == edited


def test_a_ledger_with_other_line_ends_is_the_same_ledger(tmp_path):
    begin(tmp_path, ["tables/gait.tsv", "report.html"], tmp_path)
    before, ledger = read_ledger(tmp_path), tmp_path / LEDGER
    ledger.write_bytes(ledger.read_bytes().replace(b"\n", b"\r\n"))
    assert read_ledger(tmp_path) == before
    assert len(before.now) == 2


def test_a_link_is_removed_and_what_it_leads_to_stays(tmp_path):
    mine = tmp_path / "mine.png"
    mine.write_text("mine", encoding="utf-8")
    folder = tmp_path / "results"
    begin(folder, ["x.png"], tmp_path)
    (folder / "x.png").symlink_to(mine)
    begin(folder, [], tmp_path)
    assert clear(folder) == ["x.png"]
    assert mine.read_text(encoding="utf-8") == "mine"


def test_unfinished_files_go_if_they_are_ours_and_older_than_the_run_and_their_writer_is_gone(tmp_path):
    gone, alive = ended_process(), os.getpid()
    old = [f"signals/.a.parquet.{gone}.part", f"signals/.a.parquet.{alive}.part", f"signals/.my own.{gone}.part"]
    put(tmp_path, *old, f"signals/.a.parquet.{gone}.part.txt")
    for name in old:
        os.utime(tmp_path / name, (0, 0))
    begin(tmp_path, ["signals/a.parquet", "signals/b.parquet"], tmp_path)
    put(tmp_path, f"signals/.b.parquet.{gone}.part")
    os.utime(tmp_path / f"signals/.b.parquet.{gone}.part", (2**33, 2**33))
    assert clear(tmp_path) == old[:1]


def test_a_run_that_goes_no_further_than_asked_removes_unfinished_files_and_no_other(tmp_path):
    gone = ended_process()
    left, mine = f"signals/.a.parquet.{gone}.part", "signals/earlier.parquet"
    begin(tmp_path, [mine], tmp_path)
    put(tmp_path, left, mine)
    os.utime(tmp_path / left, (0, 0))
    begin(tmp_path, ["signals/a.parquet"], tmp_path)
    clear_unfinished(tmp_path)
    assert not (tmp_path / left).exists()
    assert (tmp_path / mine).is_file()


def test_the_marker_names_the_study_from_the_folder_so_that_both_may_move_together(tmp_path):
    begin(tmp_path / "p/results", [], tmp_path / "p/study")
    assert read_marker(tmp_path / "p/results") == Marker(1, "../study")


def test_a_folder_taken_over_names_no_study_and_its_files_count_as_earlier_ones(tmp_path):
    adopt(tmp_path, ["tables/gait.tsv"])
    assert read_marker(tmp_path) == Marker(1, None)
    assert read_ledger(tmp_path) == Ledger(before=frozenset({"tables/gait.tsv"}))


@given(st.binary(max_size=60))
def test_any_bytes_in_place_of_marker_and_ledger_are_read_without_an_error(tmp_path_factory, content):
    folder = tmp_path_factory.mktemp("results")
    for name in (MARKER, LEDGER):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    read_marker(folder)
    assert all(not PurePosixPath(name).is_absolute() for name in read_ledger(folder).names)
