from pathlib import Path

from strainstudy.jobs import job
from strainstudy.stages import paper_figures
from strainstudy.stages.rows import recordings_of

with job(snakemake.log[0], f"paper_figures {snakemake.wildcards.subject}") as progress:
    paper_figures.run(
        snakemake.wildcards.subject,
        recordings_of(snakemake.params.recordings),
        signals=[Path(path) for path in snakemake.input.signals],
        results=Path(snakemake.params.results),
        made=Path(snakemake.output.made),
        progress=progress,
    )
