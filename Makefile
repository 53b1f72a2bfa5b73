# Every target builds what it needs: `make demo` and `make test` work from a bare clone.
.DELETE_ON_ERROR:
.SUFFIXES:
SHELL := /bin/bash

PYTHON ?= python3
CORES ?= 2
MUTATIONS ?= 20000
VENV := .venv
BIN := $(VENV)/bin
PROFILE ?= default
SNAKEMAKE := $(BIN)/snakemake --workflow-profile workflow/profiles/$(PROFILE) \
  $(if $(filter slurm,$(PROFILE)),,--cores $(CORES))
OF_STUDY = $(if $(STUDY),--configfile $(STUDY))

.PHONY: demo run check resume verify kill-test same-bytes cluster-test test fuzz mutants lint bench demo-raw model lock clean
.DEFAULT_GOAL := demo

$(VENV)/.run: requirements.lock pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(0 if sys.version_info >= (3, 11) else "strainstudy needs Python 3.11 or newer; name one with: make PYTHON=/path/to/python3.11")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	touch $@

# An installed checkout is compiled by nobody, and jobs whose Python writes no bytecode would compile it again each time.
$(VENV)/.compiled: $(VENV)/.run $(shell find workflow -name '*.py')
	$(BIN)/python -m compileall -q workflow
	touch $@

$(VENV)/.test: $(VENV)/.run requirements-test.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements-test.lock
	touch $@

demo: $(VENV)/.compiled
	$(SNAKEMAKE)
	@echo "The report is $$(pwd)/results/report.html"

# A study of one's own: make run STUDY=my_study.yaml. After a kill the same again.
run: $(VENV)/.compiled
	$(SNAKEMAKE) $(OF_STUDY)

check: $(VENV)/.compiled
	$(BIN)/snakemake --workflow-profile workflow/profiles/default --cores $(CORES) check $(OF_STUDY)

# Only where the file system has no locks and no run is going on: it takes away the lock that a killed run left.
resume: $(VENV)/.compiled
	$(SNAKEMAKE) --unlock $(OF_STUDY)
	$(SNAKEMAKE) $(OF_STUDY)

# docs/robustness.md, a section each: half an hour, twenty minutes, ten minutes on two cores.
kill-test: $(VENV)/.test
	$(BIN)/python tests/experiments/kills.py docs/robustness.md

same-bytes: $(VENV)/.test
	$(BIN)/python tests/experiments/same_bytes.py docs/robustness.md

cluster-test: $(VENV)/.compiled
	$(BIN)/python tests/experiments/cluster.py docs/robustness.md

# What changed in a results folder since its run.
verify: $(VENV)/.run
	$(BIN)/python -m strainstudy.provenance.verify $(or $(RESULTS),results)

test: $(VENV)/.test $(VENV)/.compiled
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/pytest -n 2 --dist loadscope

fuzz: $(VENV)/.test
	FUZZ_MUTATIONS=$(MUTATIONS) OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/pytest -rP tests/fuzz

lint: $(VENV)/.test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/snakefmt --check Snakefile workflow/Snakefile workflow/rules
	$(BIN)/python tests/lint_workflow.py

bench: $(VENV)/.test $(VENV)/.compiled
	$(BIN)/python tests/bench.py $(if $(GROWN),--grown $(GROWN)) $(if $(WRITE),--write $(WRITE))

mutants: $(VENV)/.test
	$(BIN)/python tests/mutants.py --number $(or $(NUMBER),90) --seed $(or $(SEED),1) --minutes $(or $(MINUTES),30)

demo-raw: $(VENV)/.run
	$(BIN)/python -m strainstudy_simulator demo_raw

# The model that comes along, from its recordings: windows, trials, model, card.
model: $(VENV)/.test
	$(BIN)/python -m strainstudy.stages.shipped_model workflow/models/open-walks windows
	$(BIN)/python tests/experiments/open_walks.py trials workflow/models/open-walks
	$(BIN)/python -m strainstudy.stages.shipped_model workflow/models/open-walks

lock:
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-annotate --no-header \
	  --extra build pyproject.toml -o requirements.lock
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-annotate --no-header \
	  --extra build --extra test -c requirements.lock pyproject.toml -o requirements-test.lock

clean:
	rm -rf $(VENV) results .snakemake
