from pathlib import Path

from strainstudy.jobs import job
from strainstudy.sections import SECTIONS
from strainstudy.settings import build
from strainstudy.stages import report
from strainstudy.stages.rows import recordings_of

with job(snakemake.log[0], "report") as progress:
    report.run(
        recordings_of(snakemake.params.rows["recordings"]),
        settings={name: build(SECTIONS[name], values) for name, values in snakemake.params.settings.items()},
        reference_rater=snakemake.params.reference_rater,
        signals=[Path(path) for path in snakemake.input.signals],
        study=snakemake.params.study,
        results=Path(snakemake.params.results),
        page=Path(snakemake.output.page),
        progress=progress,
    )
