"""Files from the future: what is said of the user's, and what becomes of ours."""

import os
import time

import pytest
from strainstudy.io.clock import future_problems, put_right

DAY_NS = 86_400 * 10**9


def aged(path, ns):
    path.write_text("x")
    os.utime(path, ns=(ns, ns))
    return path


def test_files_of_the_user_from_tomorrow_are_a_fault_with_a_remedy(tmp_path):
    now = time.time_ns()
    files = [aged(tmp_path / "old.csv", now - DAY_NS), *(aged(tmp_path / f"{n}.csv", now + DAY_NS) for n in range(3))]
    (problem,) = future_problems([*files, tmp_path / "not there"])
    assert str(problem).startswith(f"{tmp_path}/0.csv: was changed in the future, ")
    assert "(and 2 further files)" in str(problem)
    assert str(problem).endswith("give the files today's date with touch.")
    assert future_problems(files[:1]) == []


def test_a_second_ahead_is_waited_for(tmp_path, monkeypatch):
    waited = []
    monkeypatch.setattr(time, "sleep", waited.append)
    assert future_problems([aged(tmp_path / "a.csv", time.time_ns() + 2 * 10**9)]) == []
    assert waited == [pytest.approx(2.0, abs=0.2)]


def test_files_of_ours_come_back_to_now_in_their_order(tmp_path):
    now = time.time_ns()
    old, first, second = (
        aged(tmp_path / name, now + days * DAY_NS) for name, days in (("old", -1), ("first", 1), ("second", 2))
    )
    assert put_right(tmp_path, ["old", "first", "second", "not there"]) == 2
    times = [path.stat().st_mtime_ns for path in (old, first, second)]
    assert times == sorted(times)
    assert times[0] == now - DAY_NS
    assert times[2] <= time.time_ns()
    assert times[2] - times[1] == DAY_NS
    assert put_right(tmp_path, ["old", "first", "second"]) == 0
