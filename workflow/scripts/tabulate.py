from pathlib import Path

from strainstudy.bench.parameters import HealthParameters
from strainstudy.jobs import job
from strainstudy.settings import build
from strainstudy.stages import tabulate
from strainstudy.stages.rows import participants_of, recordings_of, sensors_of

with job(snakemake.log[0], "tabulate") as progress:
    tabulate.run(
        recordings_of(snakemake.params.rows["recordings"]),
        participants_of(snakemake.params.rows["participants"]),
        sensors_of(snakemake.params.sensors),
        health=build(HealthParameters, snakemake.params.settings["health"]),
        inputs={name: [Path(p) for p in snakemake.input.get(name)] for name in tabulate.INPUTS},
        bench={name: Path(path) for name, path in snakemake.input.items() if name in tabulate.BENCH},
        typed=Path(snakemake.output.typed),
        results=Path(snakemake.params.results),
        progress=progress,
    )
