from pathlib import Path

from strainstudy.config import setting_words
from strainstudy.intake.shipped import folders_of
from strainstudy.jobs import job
from strainstudy.records import Contributor
from strainstudy.stages import provenance

with job(snakemake.log[0], "provenance") as progress:
    provenance.run(
        study=Path(snakemake.params.study),
        inputs=[Path(path) for path in snakemake.input.study],
        setting_files=[Path(path) for path in snakemake.input.settings],
        models={
            folder: [path for path in map(Path, snakemake.input.models) if path.is_relative_to(folder)]
            for folder in folders_of(snakemake.params.settings["model"], snakemake.params.settings["train_with"])
        },
        settings=snakemake.params.settings,
        words=setting_words(),
        contributors=[Contributor(**row) for row in snakemake.params.contributors],
        project=Path(snakemake.params.project),
        results=Path(snakemake.params.results),
        progress=progress,
    )
