from pathlib import Path

from strainstudy.calibrate.answer import Answer
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.condition.parameters import ConditionParameters
from strainstudy.io.frames import read_json
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import condition
from strainstudy.stages.rows import recordings_of, sensors_of

with job(snakemake.log[0], f"condition {snakemake.wildcards.batch}") as progress:
    condition.run(
        recordings_of(snakemake.params.recordings),
        sensors_of(snakemake.params.sensors),
        parameters=build(ConditionParameters, snakemake.params.settings["condition"]),
        calibrate=build(CalibrateParameters, snakemake.params.settings["calibrate"]),
        answers={
            sensor: Answer.from_dict(answer)
            for path in snakemake.input.answers
            for sensor, answer in read_json(Path(path)).items()
        },
        traces=Path(snakemake.input.traces),
        maps=Path(snakemake.input.maps),
        calibration_notes=Path(snakemake.input.calibration_notes),
        signals=Path(snakemake.output.signals),
        notes=Path(snakemake.output.notes),
        progress=progress,
    )
