# Each target builds .venv first when it is missing or the lock file changed, so any of them may be the first.
PYTHON ?= python3
PORT ?= 8000
# Processes that share the tests: auto is one for each core, 0 runs them in this one.
TESTERS ?= auto
VENV := .venv
BIN := $(VENV)/bin
.DEFAULT_GOAL := help
.PHONY: help venv demo test check serve bench trial format lock

help: ## show this list
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/^([a-z]+):.*## /make \1\t/' | expand -t 14

# The lock file is whole, so nothing is left to resolve: else a newer release of what one package asks for with an
# extra would be found beside the one that is locked, and refused.
$(VENV)/.built: requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' || \
	  { echo "Vacuary needs Python 3.11 to 3.13; name one: make $(MAKECMDGOALS) PYTHON=python3.12"; exit 2; }
	$(PYTHON) -m venv --clear $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $@

# Machine code of the waveform kernels, made once (half a minute) and again when one of them changes.
$(VENV)/.warm: $(VENV)/.built registry/waveform/compiled.py $(wildcard registry/waveform/kernels/*.py)
	@rm -rf registry/waveform/kernels/__pycache__/kernels-*
	$(BIN)/python -m registry.waveform.warm
	@touch $@

venv: $(VENV)/.warm ## build .venv from the lock file

demo: $(VENV)/.warm ## the whole job on an invented community, over HTTP; ends by itself
	@$(BIN)/python -m seed_demo

test: $(VENV)/.warm ## all tests, on a real PostgreSQL
	OMP_NUM_THREADS=1 $(BIN)/python -m pytest -q -n $(TESTERS) --maxprocesses 8 --dist loadfile --cov --cov-report=term

check: $(VENV)/.built ## linters, types, import rules, migrations
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python manage.py check
	$(BIN)/python manage.py makemigrations --check --dry-run

serve: $(VENV)/.warm ## server and worker on PORT, until Ctrl-C
	@$(BIN)/python manage.py serve --port $(PORT)

bench: $(VENV)/.warm ## speed as ratios measured in one run
	@$(BIN)/python -m tests.bench

trial: $(VENV)/.warm ## answers tried on simulated communities of known truth
	@$(BIN)/python -m tests.trial

format: $(VENV)/.built ## let the formatter have its way
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

lock: ## resolve the lock file again (needs uv)
	uv pip compile pyproject.toml --extra server --extra dev --universal --python-version 3.11 \
	  --generate-hashes --no-emit-index-url --no-emit-find-links --no-header --no-annotate -o requirements.lock
