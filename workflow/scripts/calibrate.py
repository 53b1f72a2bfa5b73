from pathlib import Path

from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import calibrate
from strainstudy.stages.rows import recordings_of, sensors_of

with job(snakemake.log[0], f"calibrate {snakemake.wildcards.batch}") as progress:
    calibrate.run(
        recordings_of(snakemake.params.recordings),
        sensors_of(snakemake.params.sensors),
        parameters=build(CalibrateParameters, snakemake.params.settings["calibrate"]),
        condition=build(ConditionParameters, snakemake.params.settings["condition"]),
        reference_rater=snakemake.params.reference_rater,
        raw=Path(snakemake.input.traces),
        traces=Path(snakemake.output.traces),
        maps=Path(snakemake.output.maps),
        calibrations=Path(snakemake.output.calibrations),
        notes=Path(snakemake.output.notes),
        progress=progress,
    )
