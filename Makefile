# From a bare clone: `make demo` does the main job, `make test` proves it. Both set up what they need.
# Needed beforehand: make, python3 (3.11 or newer) and its venv module (Debian: python3-venv).

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DELETE_ON_ERROR:
.DEFAULT_GOAL := help

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check

# Tests run in WORKERS processes, so each keeps its linear algebra and its kernels to one thread.
WORKERS ?= 2
PYTEST := OPENBLAS_NUM_THREADS=1 NUMBA_NUM_THREADS=1 $(BIN)/python -m pytest -n $(WORKERS) --dist worksteal

# A lock made from the public index alone: no setting of this machine may choose a file or leave a trace.
LOCK := env -u UV_INDEX_URL -u UV_EXTRA_INDEX_URL -u UV_FIND_LINKS $(BIN)/uv pip compile pyproject.toml --quiet \
	--no-config --universal --python-version 3.11 --fork-strategy fewest --generate-hashes --no-header \
	--custom-compile-command "make lock" --group build $(UPGRADE)

.PHONY: help setup dev test-needs demo test quick lint check-format check-code check-types check-floors check-locks \
	format bench docs lock clean

help:  ## this list
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## / — /; s/^/make /'

setup: $(VENV)/.runtime  ## .venv with .venv/bin/evenfield
dev: $(VENV)/.dev  ## the same with all that tests, checks and documentation need

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
		|| { echo "evenfield needs Python 3.11 or newer, and $(PYTHON) is not; name another one: make PYTHON=python3.12 …"; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' \
		|| { echo "$(PYTHON) cannot make virtual environments; on Debian: apt-get install python3-venv"; exit 1; }
	$(PYTHON) -m venv $(VENV)

# Exact versions with hashes from the lock, then the package itself without looking anything up.
$(VENV)/.runtime: requirements.lock pyproject.toml | $(BIN)/python
	$(PIP) install --quiet --require-hashes -r requirements.lock
	$(PIP) install --quiet --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.dev: requirements-dev.lock $(VENV)/.runtime
	$(PIP) install --quiet --require-hashes -r requirements-dev.lock
	@touch $@

test-needs:
	@scripts/test_needs.sh

# In a terminal the clinic is served until Ctrl-C; a script is told how, and comes to an end (docs/decisions/0130).
demo: setup  ## forecast an invented abdomen into out/demo, then serve an invented clinic (SERVE=no, SERVE=yes)
	$(BIN)/evenfield forecast examples/abdomen.toml --out out/demo
	@if [ "$(SERVE)" = yes ] || { [ -z "$(SERVE)" ] && [ -t 0 ] && [ -t 1 ]; }; then \
		exec $(BIN)/evenfield serve --demo; \
	else \
		echo "The invented clinic, in a browser on this computer: $(BIN)/evenfield serve --demo"; \
	fi

test: dev test-needs  ## all tests
	$(PYTEST)

quick: dev  ## the tests that take no more than a few seconds each
	$(PYTEST) -m 'not slow'

# With --keep-going every check has its say before make fails.
lint: dev  ## format, lint, types, import contract, lock against pyproject.toml
	@$(MAKE) --no-print-directory --keep-going check-format check-code check-types check-floors check-locks

check-format: dev
	$(BIN)/ruff format --check .

check-code: dev
	$(BIN)/ruff check .

check-types: dev
	$(BIN)/mypy

check-floors: dev
	$(BIN)/lint-imports

check-locks: dev
	$(BIN)/python scripts/check_lock.py

format: dev  ## put the code into the house's format
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

bench: dev  ## speed and error against other solvers, on this machine
	$(BIN)/python -m bench

docs: dev  ## the documentation as web pages in out/docs
	rm -rf docs/code
	$(BIN)/sphinx-build --quiet --fail-on-warning --keep-going -d out/doctrees docs out/docs
	@echo "out/docs/index.html"

# Pins stay as they are unless pyproject.toml forbids them; `make lock UPGRADE=--upgrade` moves them all.
lock: $(BIN)/python  ## requirements*.lock from pyproject.toml (needs the network)
	test -x $(BIN)/uv || $(PIP) install --quiet 'uv>=0.9' packaging
	$(LOCK) --group dev --all-extras --output-file requirements-dev.lock
	$(LOCK) --constraints requirements-dev.lock --output-file requirements.lock
	$(BIN)/python scripts/check_lock.py

clean:  ## remove what was made (not .venv)
	rm -rf out docs/code .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis
