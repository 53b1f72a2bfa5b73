from pathlib import Path

from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import validate
from strainstudy.stages.rows import participants_of, recordings_of
from strainstudy.swallow.parameters import SwallowParameters
from strainstudy.validate.parameters import ValidateParameters

with job(snakemake.log[0], "validate") as progress:
    validate.run(
        recordings_of(snakemake.params.rows["recordings"]),
        participants_of(snakemake.params.rows["participants"]),
        parameters=build(ValidateParameters, snakemake.params.settings["validate"]),
        swallow=build(SwallowParameters, snakemake.params.settings["swallow"]),
        prediction_level=float(snakemake.params.settings["calibrate"]["prediction_level"]),
        norms=Path(snakemake.input.norms),
        label_tables=[Path(path) for path in snakemake.input.labels],
        signals=[Path(path) for path in snakemake.input.signals],
        evidence=Path(snakemake.input.evidence[0]).parent,
        tables={name: Path(snakemake.input[name]) for name in validate.TABLES},
        results=Path(snakemake.params.results),
        progress=progress,
        threads=snakemake.threads,
    )
