from pathlib import Path

from strainstudy.condition.parameters import ConditionParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import condition
from strainstudy.stages.rows import recordings_of, sensors_of

with job(snakemake.log[0], f"condition {snakemake.wildcards.batch}") as progress:
    condition.run(
        recordings_of(snakemake.params.recordings),
        sensors_of(snakemake.params.sensors),
        parameters=build(ConditionParameters, snakemake.params.settings["condition"]),
        raw=Path(snakemake.input.traces),
        traces=Path(snakemake.output.traces),
        notes=Path(snakemake.output.notes),
        progress=progress,
    )
