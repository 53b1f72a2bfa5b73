from pathlib import Path

from strainstudy.classify.parameters import ClassifyParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import train
from strainstudy.stages.rows import participants_of, recordings_of
from strainstudy.swallow.parameters import SwallowParameters

with job(snakemake.log[0], "train") as progress:
    train.run(
        recordings_of(snakemake.params.rows["recordings"]),
        participants_of(snakemake.params.rows["participants"]),
        parameters=build(ClassifyParameters, snakemake.params.settings["classify"]),
        swallow=build(SwallowParameters, snakemake.params.settings["swallow"]),
        reference_rater=snakemake.params.reference_rater,
        external=None if snakemake.params.model is None else Path(snakemake.params.model),
        windows=[Path(path) for path in snakemake.input.windows],
        states=[Path(path) for path in snakemake.input.states],
        candidates=[Path(path) for path in snakemake.input.candidates],
        outputs={name: Path(snakemake.output[name]) for name in ("bouts", "candidates", "label_next")}
        | {"evidence": Path(snakemake.output.evidence[0]).parent},
        results=Path(snakemake.params.results),
        progress=progress,
    )
