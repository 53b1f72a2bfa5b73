from pathlib import Path

from strainstudy.gait.window_parameters import FeatureParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import features
from strainstudy.stages.rows import recordings_of

with job(snakemake.log[0], f"features {snakemake.wildcards.batch}") as progress:
    features.run(
        recordings_of(snakemake.params.recordings),
        parameters=build(FeatureParameters, snakemake.params.settings["features"]),
        signals=Path(snakemake.input.signals),
        strides=Path(snakemake.input.strides),
        notes=Path(snakemake.input.notes),
        windows=Path(snakemake.output.windows),
        progress=progress,
    )
