"""Raw files of a batch to uniform traces, and what is wrong with each recording."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..errors import RecordingError
from ..ingest.parameters import IngestParameters
from ..ingest.recording import ingest_recording
from ..io.frames import write_rows
from ..io.store import TraceWriter
from ..jobs import Progress
from ..records import Recording

__all__ = ["run"]


def run(
    recordings: Sequence[Recording],
    *,
    parameters: IngestParameters,
    strict: bool,
    traces: Path,
    quality: Path,
    progress: Progress,
) -> None:
    """Read the recordings of a batch.

    Parameters
    ----------
    recordings : sequence of Recording
    parameters : IngestParameters
    strict : bool
        Whether a rejected recording ends the job.
    traces, quality : Path
        To write: quantity ``raw``; one row of ``tables/recordings.tsv`` per recording, and its ``faults``.
    progress : Progress

    Raises
    ------
    RecordingError
        For the first rejected recording, if ``strict``.
    """
    rows = []
    with TraceWriter(traces, ("raw",)) as writer:
        for number, recording in enumerate(recordings, start=1):
            ingested = ingest_recording(recording, parameters)
            status, reason = ingested.quality["status"], ingested.quality["status_description"]
            if ingested.story is not None:
                progress.note(f"{recording.recording_id} ({recording.file}):\n{ingested.story}")
            if strict and status == "rejected":
                words = f"{recording.file}: {reason} (the setting strict stops here)"
                raise RecordingError(recording.recording_id, words)
            for trace in ingested.traces:
                writer.write(trace)
            rows.append(ingested.quality | {"faults": [fault.to_dict() for fault in ingested.faults]})
            why = f" ({recording.file}): {reason}" if status == "rejected" else f": {reason}" if reason else ""
            said = f"{recording.recording_id} {status}{why}"
            progress.count(said, number, len(recordings), fault=status != "good")
    write_rows(quality, rows)
