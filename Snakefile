# From one study folder to tables, figures and a report. `snakemake --cores 2` runs all of it,
# `snakemake --cores 1 check` only looks at the sheets, settings and labels.
from snakemake.utils import min_version

min_version("9.27")


configfile: "config/config.yaml"


include: "workflow/rules/common.smk"
include: "workflow/rules/running.smk"
include: "workflow/rules/ingest.smk"
include: "workflow/rules/derive.smk"
include: "workflow/rules/characterise.smk"
include: "workflow/rules/tabulate.smk"
include: "workflow/rules/labels.smk"
include: "workflow/rules/classify.smk"
include: "workflow/rules/measure.smk"
include: "workflow/rules/validate.smk"
include: "workflow/rules/review.smk"
include: "workflow/rules/review_shared.smk"
include: "workflow/rules/people.smk"
include: "workflow/rules/drawings.smk"
include: "workflow/rules/figures.smk"
include: "workflow/rules/report.smk"
include: "workflow/rules/paper_figures.smk"
include: "workflow/rules/paper.smk"
include: "workflow/rules/provenance.smk"
include: "workflow/rules/share.smk"
include: "workflow/rules/keep.smk"


localrules:
    all,
    check,


rule all:
    default_target: True
    input:
        rules.provenance.output,


rule check:
    params:
        summary=lambda w: summary_of_study(),
    shell:
        "echo {params.summary:q}"
