# One verb per chore; the same here and in the checks. `make demo` needs only
# Python 3.11+ and make; the tests and benchmarks also need what scripts/services.sh installs.
SHELL := /bin/bash
# Which Python makes the environment; left empty, the first one found that is 3.11 or newer.
PYTHON ?=
VENV := .venv
BIN := $(VENV)/bin
export PYTHONPATH := src

.PHONY: demo serve test lint bench calibrate screenshots clean format

demo: $(VENV)/.runtime
	$(BIN)/python -m beltside demo --folder demo-output

serve: $(VENV)/.runtime
	$(BIN)/python -m beltside serve

test: $(VENV)/.tests
	bash scripts/services.sh
	$(BIN)/python -m pytest

lint: $(VENV)/.tests
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

format: $(VENV)/.tests
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

bench: $(VENV)/.tests
	bash scripts/services.sh
	$(BIN)/python bench/run.py

# Draws the rig's engines, measures them and fits the weights that ship in suspects/.
calibrate: $(VENV)/.tests
	$(BIN)/python scripts/calibrate.py

# Every page at phone and desktop width, light and dark, into screenshots/.
screenshots: $(VENV)/.tests
	bash scripts/services.sh
	$(BIN)/python scripts/screenshots.py

$(VENV)/.runtime: requirements.txt requirements-virtualenv.txt scripts/environment.sh
	bash scripts/environment.sh "$(PYTHON)" $(VENV) requirements.txt
	touch $@

$(VENV)/.tests: requirements-dev.txt requirements.txt requirements-virtualenv.txt scripts/environment.sh
	bash scripts/environment.sh "$(PYTHON)" $(VENV) requirements.txt requirements-dev.txt
	touch $@ $(VENV)/.runtime

clean:
	rm -rf $(VENV) .tools build dist demo-output screenshots .mypy_cache .ruff_cache .pytest_cache .hypothesis
