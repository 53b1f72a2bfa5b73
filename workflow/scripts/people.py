from pathlib import Path

from strainstudy.jobs import job
from strainstudy.stages import people
from strainstudy.stages.rows import participants_of, recordings_of

with job(snakemake.log[0], f"people {snakemake.wildcards.part}") as progress:
    people.run(
        recordings_of(snakemake.params.recordings),
        participants_of(snakemake.params.participants),
        reference_rater=snakemake.params.reference_rater,
        study=snakemake.params.study,
        frames={name: Path(snakemake.input[name]) for name in people.FRAMES},
        bends=[Path(path) for path in snakemake.input.bends],
        calibrations=[Path(path) for path in snakemake.input.calibrations],
        results=Path(snakemake.params.results),
        made=Path(snakemake.output.made),
        progress=progress,
    )
