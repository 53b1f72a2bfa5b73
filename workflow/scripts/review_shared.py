from pathlib import Path

from strainstudy.jobs import job
from strainstudy.stages import review
from strainstudy.stages.rows import recordings_of

with job(snakemake.log[0], "review_shared") as progress:
    review.run_shared(
        recordings_of(snakemake.params.rows["recordings"]),
        study=snakemake.params.study,
        events=Path(snakemake.input.events),
        bouts=Path(snakemake.input.bouts),
        quality=[Path(path) for path in snakemake.input.quality],
        results=Path(snakemake.params.results),
        progress=progress,
    )
