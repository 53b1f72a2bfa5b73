from pathlib import Path

from strainstudy.ingest.parameters import IngestParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import ingest
from strainstudy.stages.rows import recordings_of

with job(snakemake.log[0], f"ingest {snakemake.wildcards.batch}") as progress:
    ingest.run(
        recordings_of(snakemake.params.recordings),
        parameters=build(IngestParameters, snakemake.params.settings["ingest"]),
        strict=snakemake.params.strict,
        traces=Path(snakemake.output.traces),
        quality=Path(snakemake.output.quality),
        progress=progress,
    )
