from pathlib import Path

from strainstudy.calibrate.answer import Answer
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.io.frames import read_json
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import calibrate
from strainstudy.stages.rows import recordings_of, sensors_of

settings = snakemake.params.settings
with job(snakemake.log[0], f"calibrate {snakemake.wildcards.batch}") as progress:
    calibrate.run(
        recordings_of(snakemake.params.recordings),
        sensors_of(snakemake.params.sensors),
        parameters=build(CalibrateParameters, settings["calibrate"]),
        drift_shortest_period_s=build(ConditionParameters, settings["condition"]).drift_shortest_period_s,
        reference_rater=snakemake.params.reference_rater,
        answers={
            sensor: Answer.from_dict(answer)
            for path in snakemake.input.answers
            for sensor, answer in read_json(Path(path)).items()
        },
        traces=Path(snakemake.input.traces),
        condition_notes=Path(snakemake.input.condition_notes),
        signals=Path(snakemake.output.signals),
        maps=Path(snakemake.output.maps),
        calibrations=Path(snakemake.output.calibrations),
        notes=Path(snakemake.output.notes),
        progress=progress,
    )
