from pathlib import Path

from strainstudy.bends.parameters import BendParameters
from strainstudy.calibrate.parameters import CalibrateParameters
from strainstudy.gait.parameters import GaitParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import segment
from strainstudy.stages.rows import recordings_of
from strainstudy.swallow.parameters import SwallowParameters

calibration = build(CalibrateParameters, snakemake.params.settings["calibrate"])
with job(snakemake.log[0], f"segment {snakemake.wildcards.batch}") as progress:
    segment.run(
        recordings_of(snakemake.params.recordings),
        gait=build(GaitParameters, snakemake.params.settings["gait"]),
        bends=build(BendParameters, snakemake.params.settings["bends"]),
        swallow=build(SwallowParameters, snakemake.params.settings["swallow"]),
        lag_s=calibration.lag_s,
        flexion_stretches=calibration.flexion_stretches,
        signals=Path(snakemake.input.signals),
        condition_notes=Path(snakemake.input.condition_notes),
        calibrate_notes=Path(snakemake.input.calibrate_notes),
        outputs={name: Path(snakemake.output[name]) for name in segment.FRAMES},
        notes=Path(snakemake.output.notes),
        progress=progress,
    )
