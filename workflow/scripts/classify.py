from pathlib import Path

from strainstudy.intake.shipped import choose_model, shipped_folder
from strainstudy.jobs import job
from strainstudy.stages import classify
from strainstudy.stages.rows import participants_of, recordings_of

model, company = choose_model(snakemake.params.model), snakemake.params.train_with

with job(snakemake.log[0], "classify") as progress:
    classify.run(
        recordings_of(snakemake.params.rows["recordings"]),
        participants_of(snakemake.params.rows["participants"]),
        settings=snakemake.params.settings,
        reference_rater=snakemake.params.reference_rater,
        external=model.named,
        standby=model.standby,
        train_with=None if company is None else shipped_folder(company),
        label_tables=[Path(path) for path in snakemake.input.labels],
        windows=[Path(path) for path in snakemake.input.windows],
        states=[Path(path) for path in snakemake.input.states],
        candidates=[Path(path) for path in snakemake.input.candidates],
        outputs={name: Path(snakemake.output[name]) for name in ("bouts", "rule_bouts", "candidates", "label_next")}
        | {"evidence": Path(snakemake.output.evidence[0]).parent},
        results=Path(snakemake.params.results),
        progress=progress,
        threads=snakemake.threads,
    )
