"""Files that appear whole or not at all; in which order the disk is asked, by what the system is called for."""

import os

import pytest
from strainstudy.io import atomic


def calls(monkeypatch) -> list[str]:
    """Note what is brought to the disk and when the file takes its place."""
    made: list[str] = []
    rename = os.replace
    wait = atomic._wait

    def note_wait(path, how):
        made.append(f"{how} {'folder' if path.is_dir() else 'file'}")
        wait(path, how)

    def note_rename(source, target):
        made.append("rename")
        rename(source, target)

    monkeypatch.setattr(atomic, "_wait", note_wait)
    monkeypatch.setattr("pathlib.os.replace", note_rename)
    return made


def test_what_cannot_be_made_again_is_on_the_disk_before_and_after_it_takes_its_place(tmp_path, monkeypatch):
    made = calls(monkeypatch)
    atomic.write_text(tmp_path / "a/history.tsv", "x", lasting=True)
    assert made == ["fsync file", "rename", "fsync folder"]
    assert (tmp_path / "a/history.tsv").read_text() == "x"


def test_what_is_cheap_to_make_again_does_not_wait_for_the_disk(tmp_path, monkeypatch):
    made = calls(monkeypatch)
    atomic.write_text(tmp_path / "page.html", "x")
    assert made == ["rename"]


def test_a_whole_folder_is_brought_to_the_disk_at_once(tmp_path, monkeypatch):
    made = calls(monkeypatch)
    atomic.bring_to_disk(tmp_path)
    assert made == ["syncfs folder"]


def test_a_disk_that_could_not_take_it_is_told(tmp_path, monkeypatch):
    def full(file):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    (tmp_path / "a").write_text("old")
    with pytest.raises(OSError, match="No space left"):
        atomic.write_text(tmp_path / "a", "new", lasting=True)
    assert (tmp_path / "a").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["a"]
