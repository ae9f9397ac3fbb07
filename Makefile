# Two commands do all their own set-up on a machine that has Python, make and git:
#   make demo    the main job, on an invented valley, with nothing to configure
#   make test    every check that stands before main
# Both build a virtual environment in .venv from hashed lock files and print what they do.

PYTHON  ?= python3
VENV    := .venv
BIN     := $(VENV)/bin
LOCKS   := deploy/locks
DATA    ?=
IN_DEV  := numpy pandas scipy statsmodels formulaic interface-meta narwhals patsy wrapt typing-extensions python-dateutil six tzdata packaging colorama
PORT    ?= 8000
WORKERS ?= 2
say      = @printf '\n== %s\n' "$(1)"

.PHONY: help demo test lint types contracts docs tests reference-data programs long sabotage spread calibrate accuracy bench lock clean

help:
	@grep -E '^#' Makefile | sed 's/^# \{0,1\}//'

$(BIN)/uv: $(LOCKS)/bootstrap.txt
	$(call say,virtual environment in $(VENV))
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or newer is needed")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r $(LOCKS)/bootstrap.txt
	@touch $@

$(VENV)/.runtime: $(BIN)/uv $(LOCKS)/runtime.txt pyproject.toml
	$(call say,packages of the service (hash-checked))
	$(BIN)/uv pip install --quiet --compile-bytecode --python $(BIN)/python --require-hashes -r $(LOCKS)/runtime.txt
	$(BIN)/uv pip install --quiet --compile-bytecode --python $(BIN)/python --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.runtime $(LOCKS)/dev.txt $(LOCKS)/data.txt
	$(call say,packages of the tests (hash-checked))
	$(BIN)/uv pip install --quiet --compile-bytecode --python $(BIN)/python --require-hashes -r $(LOCKS)/dev.txt
	$(BIN)/uv pip install --quiet --compile-bytecode --python $(BIN)/python --require-hashes --no-deps -r $(LOCKS)/data.txt
	@touch $@

# In a folder of their own: pandas behaves otherwise, and starts slower, where pyarrow is installed.
$(VENV)/rivals: $(VENV)/.dev $(LOCKS)/accuracy.txt
	$(call say,packages of the rivals (hash-checked))
	$(BIN)/uv pip install --quiet --compile-bytecode --python $(BIN)/python --target $@ --require-hashes --no-deps -r $(LOCKS)/accuracy.txt
	@touch $@

demo: $(VENV)/.runtime
	$(call say,the demo: an invented valley)
	$(BIN)/dipcast demo $(if $(ONCE),--once) --port $(PORT)

test: $(VENV)/.dev programs lint types contracts docs tests

lint:
	$(call say,format and lint)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .

types:
	$(call say,strict types)
	$(BIN)/mypy

contracts:
	$(call say,import contract)
	$(BIN)/lint-imports

docs:
	$(call say,generated parts of the documents)
	$(BIN)/cog --check README.md DEVELOPERS.md

tests:
	$(call say,doctests and tests)
	$(BIN)/pytest -n $(WORKERS)

# Chromium draws the pages and mosquitto carries messages in the tests. With the right to, they are installed.
programs:
	@sh tests/programs.sh

# Longer: large example counts; DATA=folder adds checks on data that is not in the repository.
long: $(VENV)/.dev programs
	DIPCAST_EXAMPLES=long DIPCAST_DATA="$(DATA)" $(BIN)/pytest -n $(WORKERS) -m "long or not long"

# Each promise broken on purpose; the tests must see it.
sabotage: $(VENV)/.dev programs
	$(BIN)/python -m tests.sabotage

# The extra spread of forecasts, learnt anew on houses kept aside; needed whenever settings or priors change.
spread: $(VENV)/.dev
	$(BIN)/python -m tests.accuracy.surprise --houses $(or $(HOUSES),120)

# Where outcomes fall among the paths, by lead and season, learnt anew and shown on other houses.
calibrate: $(VENV)/.dev
	$(BIN)/python -m tests.accuracy.calibration --houses $(or $(HOUSES),120)

# Forecast quality: rolling replays, written to DEVELOPERS.md.
accuracy: $(VENV)/rivals
	PYTHONPATH=$(VENV)/rivals DIPCAST_DATA="$(DATA)" $(BIN)/python -m tests.accuracy
	DIPCAST_DATA="$(DATA)" $(BIN)/python -m tests.accuracy.closed_loop $(or $(HOUSES),60)
	$(BIN)/python -m tests.accuracy.watch --houses $(or $(HOUSES),100)

bench: $(VENV)/rivals
	$(BIN)/python -m tests.benchmarks

lock: $(BIN)/uv
	$(BIN)/uv pip compile -q --universal --generate-hashes --no-header --no-annotate --python-version 3.11 --group build -o $(LOCKS)/bootstrap.txt
	$(BIN)/uv pip compile -q --universal --generate-hashes --no-header --no-annotate --python-version 3.11 pyproject.toml -o $(LOCKS)/runtime.txt
	$(BIN)/uv pip compile -q --universal --generate-hashes --no-header --no-annotate --python-version 3.11 pyproject.toml --group dev -o $(LOCKS)/dev.txt
	$(BIN)/uv pip compile -q --universal --generate-hashes --no-header --no-annotate --python-version 3.11 --group accuracy $(IN_DEV:%=--no-emit-package %) -c $(LOCKS)/dev.txt -o $(LOCKS)/accuracy.txt

clean:
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .hypothesis build dist
