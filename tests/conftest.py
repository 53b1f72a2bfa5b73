"""Shared test helpers (`registry`) lie beside this file; pytest puts its folder on the import path."""

from hypothesis import settings
from invented_windows import make_cohort, make_recording, quick, study, trained  # noqa: F401

# The same examples every time, and no limit of time for one: a busy machine is no fault of the code.
settings.register_profile("project", deadline=None, derandomize=True)
settings.load_profile("project")
