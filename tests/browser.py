"""A real browser for tests of pages: Debian's Chromium, or the one that the driver installs.

Where there is none the test that asks is skipped with the reason; under continuous integration (environment variable
``CI``) it fails.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

__all__ = ["opened", "place_of", "running_browser"]

_NAMES = ("chromium", "chromium-browser", "google-chrome")

_PLACE = """([t, row]) => {
  const { figure } = Review.open.plots.lanes;
  const view = Bokeh.index.find_one(figure);
  const canvas = view.canvas_view.el.getBoundingClientRect();
  const [x, y] = [view.frame.x_scale.compute(t), view.frame.y_scale.compute(row + 0.5)];
  return [canvas.left + x, canvas.top + y];
}"""


def running_browser() -> Iterator[Any]:
    """Start the browser, and end it afterwards; skip or fail where there is none."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        own = Path(driver.chromium.executable_path)
        found = next((path for name in _NAMES if (path := shutil.which(name))), str(own) if own.is_file() else None)
        if found is None:
            reason = f"no browser: none of {', '.join(_NAMES)} is installed, nor the driver's own"
            if os.environ.get("CI"):
                pytest.fail(reason)
            pytest.skip(reason)
        browser = driver.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()


def opened(context: Any, file: Path, place: str = "") -> Any:
    """Open a review page from the file system; any error of its scripts fails the test."""
    page = context.new_page()
    page.set_default_timeout(60000)
    page.on("pageerror", lambda error: pytest.fail(f"{file.name}: {error}"))
    page.on("requestfailed", lambda request: pytest.fail(f"{file.name} asks for {request.url}"))
    page.goto(f"{file.resolve().as_uri()}{place}")
    page.wait_for_selector("body[data-ready=yes]")
    return page


def place_of(page: Any, t: float, row: int) -> tuple[float, float]:
    """Give the pixel of a time in a row of marks."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    x, y = page.evaluate(_PLACE, [t, row])
    return x, y
