"""From raw files to uniformly sampled channels of known quality."""

from .parameters import IngestParameters
from .recording import Ingested, ingest_recording

__all__ = ["IngestParameters", "Ingested", "ingest_recording"]
