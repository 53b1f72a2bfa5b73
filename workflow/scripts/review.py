from pathlib import Path

from strainstudy.jobs import job
from strainstudy.review.page import Tolerances
from strainstudy.stages import review
from strainstudy.stages.rows import recordings_of

with job(snakemake.log[0], f"review {snakemake.wildcards.batch}") as progress:
    review.run(
        recordings_of(snakemake.params.recordings),
        reference_rater=snakemake.params.reference_rater,
        tolerances=Tolerances(**{name: tuple(values) for name, values in snakemake.params.tolerances.items()}),
        traces=Path(snakemake.input.traces),
        signals=Path(snakemake.input.signals),
        quality=Path(snakemake.input.quality),
        found={name: Path(snakemake.input[name]) for name in review.FOUND},
        results=Path(snakemake.params.results),
        made=Path(snakemake.output.made),
        progress=progress,
    )
