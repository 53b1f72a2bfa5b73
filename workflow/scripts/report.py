from pathlib import Path

from strainstudy.jobs import job
from strainstudy.sections import SECTIONS
from strainstudy.settings import build
from strainstudy.stages import report

with job(snakemake.log[0], "report") as progress:
    report.run(
        settings={name: build(SECTIONS[name], values) for name, values in snakemake.params.settings.items()},
        figures=[Path(path) for path in snakemake.input.figures],
        drawings=[Path(path) for path in snakemake.input.drawings],
        study=snakemake.params.study,
        results=Path(snakemake.params.results),
        page=Path(snakemake.output.page),
        progress=progress,
    )
