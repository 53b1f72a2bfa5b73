from pathlib import Path

from strainstudy.jobs import job
from strainstudy.stages import provenance

with job(snakemake.log[0], "provenance") as progress:
    provenance.run(
        study=Path(snakemake.params.study),
        inputs=[Path(path) for path in snakemake.input.study],
        settings=[Path(path) for path in snakemake.input.settings],
        results=Path(snakemake.params.results),
        progress=progress,
    )
