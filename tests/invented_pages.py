"""Review pages of invented recordings, in few words."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd
from strainstudy.io.store import Trace
from strainstudy.records import Recording
from strainstudy.review.names import detected_file, page_file
from strainstudy.review.page import Tolerances, asset_texts, detected_text, page_text

__all__ = ["TOLERANCES", "made_page", "page_content", "write_page"]

TOLERANCES = Tolerances((0.05, 0.1, 0.25), (0.5,))


def made_page(
    traces: Mapping[str, Trace],
    labels: Mapping[str, pd.DataFrame],
    *,
    found: Iterable[pd.DataFrame] = (),
    task: str = "walk",
    session: str | None = None,
    description: str | None = None,
) -> str:
    """Make a page of traces that hold both the raw signal and what came of it."""
    one = next(iter(traces.values()))
    recording = Recording(one.recording_id, task, Path("raw.csv"), "raw.csv", "sub-01", session)
    length = one.n / one.sampling_frequency
    quality = {"duration": length, "status": "good", "status_description": description}
    return page_text(recording, quality, traces, traces, labels, found, reference_rater=None, tolerances=TOLERANCES)


def page_content(page: str) -> dict[str, Any]:
    """Read the document inside a page."""
    return json.loads(re.search(r'id="content">(.*)</script>', page)[1])


def write_page(folder: Path, page: str, recording: str, events: pd.DataFrame, bouts: pd.DataFrame) -> Path:
    """Write a page with all that it loads, and give its place."""
    texts = {**asset_texts(), page_file(recording): page, detected_file(recording): detected_text(events, bouts)}
    for name, text in texts.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    return folder / page_file(recording)
