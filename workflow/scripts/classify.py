from pathlib import Path

from strainstudy.jobs import job
from strainstudy.stages import classify
from strainstudy.stages.rows import participants_of, recordings_of

with job(snakemake.log[0], "classify") as progress:
    classify.run(
        recordings_of(snakemake.params.rows["recordings"]),
        participants_of(snakemake.params.rows["participants"]),
        settings=snakemake.params.settings,
        reference_rater=snakemake.params.reference_rater,
        external=None if snakemake.params.model is None else Path(snakemake.params.model),
        windows=[Path(path) for path in snakemake.input.windows],
        states=[Path(path) for path in snakemake.input.states],
        candidates=[Path(path) for path in snakemake.input.candidates],
        outputs={name: Path(snakemake.output[name]) for name in ("bouts", "candidates", "label_next")}
        | {"evidence": Path(snakemake.output.evidence[0]).parent},
        results=Path(snakemake.params.results),
        progress=progress,
        threads=snakemake.threads,
    )
