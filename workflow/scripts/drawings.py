from pathlib import Path

from strainstudy.jobs import job
from strainstudy.stages import drawings
from strainstudy.stages.rows import recordings_of

with job(snakemake.log[0], f"drawings {snakemake.wildcards.part}") as progress:
    drawings.run(
        recordings_of(snakemake.params.recordings),
        reference_rater=snakemake.params.reference_rater,
        frames={name: Path(snakemake.input[name]) for name in drawings.FRAMES},
        signals=[Path(path) for path in snakemake.input.signals],
        results=Path(snakemake.params.results),
        made=Path(snakemake.output.made),
        progress=progress,
    )
