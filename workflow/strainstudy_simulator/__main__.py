"""Write an invented study folder from the command line."""

from __future__ import annotations

import argparse
from pathlib import Path

from .cohort import DEFAULT_SEED, TASKS, write_study


def main() -> None:
    """Parse the command line and write the folder."""
    parser = argparse.ArgumentParser(
        prog="python -m strainstudy_simulator",
        description="Write an invented study folder: the same bytes for the same options.",
    )
    parser.add_argument("folder", type=Path, help="where to write")
    parser.add_argument("--seed", type=int, default=DEFAULT_SEED, help="default %(default)s")
    parser.add_argument("--people", type=int, default=12, help="default %(default)s")
    parser.add_argument("--sessions", type=int, default=2, help="default %(default)s")
    parser.add_argument("--minutes", type=float, help="length of each walk, swallow and free recording")
    parser.add_argument("--tasks", nargs="+", choices=TASKS, default=TASKS, help="default: all")
    parser.add_argument("--hz", type=float, help="sampling frequency of all body recordings")
    parser.add_argument("--no-bench", action="store_true", help="leave the bench recordings out")
    parser.add_argument("--no-faults", action="store_true", help="no faults, no odd formats, whole labels")
    options = parser.parse_args()
    write_study(
        options.folder,
        people=options.people,
        sessions=options.sessions,
        seed=options.seed,
        minutes=options.minutes,
        tasks=tuple(options.tasks),
        sampling_frequency=options.hz,
        bench=not options.no_bench,
        faults=not options.no_faults,
    )


if __name__ == "__main__":
    main()
