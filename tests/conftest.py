"""Shared test helpers (`registry`) lie beside this file; pytest puts its folder on the import path."""

from collections.abc import Iterator
from typing import Any

import pytest
from browser import running_browser
from hypothesis import settings
from invented_windows import make_cohort, make_recording, quick, study, trained  # noqa: F401

# The same examples every time, and no limit of time for one: a busy machine is no fault of the code.
settings.register_profile("project", deadline=None, derandomize=True)
settings.load_profile("project")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Give a real browser; the test is skipped, under CI fails, where there is none."""
    yield from running_browser()
