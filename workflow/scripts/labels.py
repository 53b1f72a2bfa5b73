from pathlib import Path

from strainstudy.jobs import job
from strainstudy.stages import gather
from strainstudy.stages.rows import recordings_of

with job(snakemake.log[0], f"labels {snakemake.wildcards.rater}") as progress:
    gather.run(
        snakemake.wildcards.rater,
        recordings_of(snakemake.params.rows),
        table=Path(snakemake.output.table),
        progress=progress,
    )
