from pathlib import Path

from strainstudy.ingest.parameters import IngestParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.share.parameters import ShareParameters
from strainstudy.stages import share
from strainstudy.study import load_study

with job(snakemake.log[0], "share") as progress:
    settings = snakemake.params.settings
    share.run(
        load_study(Path(snakemake.params.study)),
        parameters=build(ShareParameters, settings["share"]),
        ingest=build(IngestParameters, settings["ingest"]),
        tables=snakemake.params.tables,
        results=Path(snakemake.params.results),
        progress=progress,
    )
