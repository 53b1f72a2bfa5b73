from pathlib import Path

from strainstudy.gait.parameters import GaitParameters
from strainstudy.gait.verdict_parameters import VerdictParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import measure
from strainstudy.stages.rows import participants_of, recordings_of
from strainstudy.swallow.parameters import SwallowParameters

with job(snakemake.log[0], "measure") as progress:
    batches = snakemake.params.batches
    measure.run(
        recordings_of(snakemake.params.rows["recordings"]),
        participants_of(snakemake.params.rows["participants"]),
        gait=build(GaitParameters, snakemake.params.settings["gait"]),
        swallow=build(SwallowParameters, snakemake.params.settings["swallow"]),
        verdict=build(VerdictParameters, snakemake.params.settings["verdict"]),
        batches=batches,
        inputs={
            name: dict(zip(batches, map(Path, snakemake.input.get(name)), strict=True)) for name in measure.BATCH_INPUTS
        },
        decisions={name: Path(snakemake.input[name]) for name in ("bouts", "rule_bouts", "candidates", "label_next")},
        typed={name: Path(snakemake.output[f"typed_{name}"]) for name in measure.TYPED},
        results=Path(snakemake.params.results),
        progress=progress,
        reference_rater=snakemake.params.reference_rater,
        threads=snakemake.threads,
    )
