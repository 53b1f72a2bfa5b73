"""Work in several processes comes to what it comes to in one."""

from __future__ import annotations

import os
import signal
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pytest
from strainstudy.learn.threads import begin, processes, spread


def test_results_come_back_in_the_order_of_the_jobs_from_other_processes():
    jobs = [(2, k) for k in range(5)]
    with processes(2):
        assert spread(pow, jobs) == [1, 2, 4, 8, 16]
        elsewhere = spread(os.getpid, [()] * 4)
    assert os.getpid() not in elsewhere
    assert spread(os.getpid, [()] * 4) == [os.getpid()] * 4


def test_a_sum_does_not_depend_on_the_number_of_processes():
    jobs = [(np.random.default_rng(k).normal(size=1001),) for k in range(6)]
    alone = spread(np.sum, jobs)
    with processes(2):
        assert spread(np.sum, jobs) == alone


@pytest.mark.parametrize("count", [1, 2])
def test_a_warning_is_heard_and_an_error_raised_from_wherever_it_comes(count):
    with processes(count):
        with pytest.warns(UserWarning, match="look here"):
            spread(warnings.warn, [("look here",), ("look here",)])
        with pytest.raises(ZeroDivisionError):
            spread(divmod, [(1, 1), (1, 0)])


def test_where_processes_do_not_fork_work_is_spread_all_the_same_and_files_are_written_in_this_one(monkeypatch):
    monkeypatch.setattr(sys, "platform", "darwin")
    with processes(2):
        assert spread(pow, [(2, 3), (2, 4), (2, 5)]) == [8, 16, 32]
        assert os.getpid() not in spread(os.getpid, [()] * 4)
    with processes(2, writing=True):
        assert spread(os.getpid, [()] * 4) == [os.getpid()] * 4


def _inner_process():
    """Where a job of a job is done."""
    return os.getpid(), spread(os.getpid, [(), ()])


def test_a_job_that_spreads_again_does_so_in_its_own_process():
    with processes(2):
        for pid, inner in spread(_inner_process, [(), ()]):
            assert inner == [pid, pid]


def test_the_caller_goes_on_while_others_work_and_one_job_is_enough_for_that():
    with processes(2):
        started = time.perf_counter()
        later = begin(time.sleep, [(0.5,)])
        assert time.perf_counter() - started < 0.4
        there = begin(os.getpid, [()])
        assert later() == [None]
        assert there() != [os.getpid()]
    assert begin(os.getpid, [()])() == [os.getpid()]


def test_a_process_that_dies_is_an_error_and_no_endless_wait():
    with pytest.raises(RuntimeError), processes(2):
        spread(os._exit, [(3,), (3,)])


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere processes are not forked")
def test_processes_end_with_the_one_that_forked_them_though_it_was_killed():
    told, tell = os.pipe()
    child = os.fork()
    if not child:
        try:
            with processes(2):
                os.write(tell, f"{set(spread(os.getpid, [()] * 20))}".encode())
                time.sleep(60)
        finally:
            os._exit(1)
    others = [int(word) for word in os.read(told, 1000).decode().strip("{}").split(",")]
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    until = time.monotonic() + 20
    while any(map(_works, others)) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(map(_works, others))
    os.close(told)
    os.close(tell)


def _works(pid: int) -> bool:
    """Tell whether a process is there and no mere entry that nobody asked about."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False
