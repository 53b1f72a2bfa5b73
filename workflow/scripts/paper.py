from pathlib import Path

from strainstudy.jobs import job
from strainstudy.sections import SECTIONS
from strainstudy.settings import build
from strainstudy.stages import paper
from strainstudy.stages.rows import participants_of, recordings_of, sensors_of

with job(snakemake.log[0], "paper") as progress:
    paper.run(
        recordings_of(snakemake.params.rows["recordings"]),
        participants_of(snakemake.params.rows["participants"]),
        sensors_of(snakemake.params.sensors),
        settings={name: build(SECTIONS[name], values) for name, values in snakemake.params.settings.items()},
        reference_rater=snakemake.params.reference_rater,
        figures=[Path(path) for path in snakemake.input.figures],
        entries=Path(snakemake.input.entries),
        results=Path(snakemake.params.results),
        progress=progress,
    )
