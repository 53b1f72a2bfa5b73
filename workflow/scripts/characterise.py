from pathlib import Path

from strainstudy.bench.parameters import BenchParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import characterise
from strainstudy.stages.rows import recordings_of, sensors_of

with job(snakemake.log[0], "characterise") as progress:
    characterise.run(
        recordings_of(snakemake.params.recordings),
        sensors_of(snakemake.params.sensors),
        parameters=build(BenchParameters, snakemake.params.settings["bench"]),
        traces=Path(snakemake.input.traces),
        outputs={name: Path(path) for name, path in snakemake.output.items()},
        progress=progress,
    )
