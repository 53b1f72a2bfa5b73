from pathlib import Path

from strainstudy.calibrate.answer import Answer
from strainstudy.io.frames import read_json
from strainstudy.jobs import job
from strainstudy.sections import SECTIONS
from strainstudy.settings import build
from strainstudy.stages import derive
from strainstudy.stages.rows import recordings_of, sensors_of

with job(snakemake.log[0], f"derive {snakemake.wildcards.batch}") as progress:
    derive.run(
        recordings_of(snakemake.params.recordings),
        sensors_of(snakemake.params.sensors),
        settings={name: build(SECTIONS[name], values) for name, values in snakemake.params.settings.items()},
        reference_rater=snakemake.params.reference_rater,
        answers={
            sensor: Answer.from_dict(answer)
            for path in snakemake.input.answers
            for sensor, answer in read_json(Path(path)).items()
        },
        traces=Path(snakemake.input.traces),
        outputs={name: Path(path) for name, path in snakemake.output.items()},
        progress=progress,
    )
