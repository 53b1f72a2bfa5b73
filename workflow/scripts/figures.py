from pathlib import Path

from strainstudy.jobs import job
from strainstudy.stages import figures
from strainstudy.stages.rows import recordings_of

with job(snakemake.log[0], f"figures {snakemake.wildcards.kind}") as progress:
    figures.run(
        snakemake.wildcards.kind,
        snakemake.params.names,
        recordings_of(snakemake.params.recordings),
        reference_rater=snakemake.params.reference_rater,
        signals=[Path(path) for path in snakemake.input.signals],
        results=Path(snakemake.params.results),
        made=Path(snakemake.output.made),
        progress=progress,
    )
