# The two commands a newcomer types, and what they stand on.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
READY  := $(VENV)/.ready

.PHONY: help demo picture test test-mosquitto samples figures check-tools constraints clean

help:
	@echo "make demo     watch a simulated line anodize one load and stop itself (about a minute)"
	@echo "make test     lint, types, import contracts and the fast suite"
	@echo "make test-mosquitto  publishing at a real broker (needs mosquitto and mosquitto-clients)"
	@echo "make samples  short runs of the slow campaigns and benchmarks"
	@echo "make figures  every campaign and benchmark in full (tens of minutes)"

check-tools:
	@command -v $(PYTHON) >/dev/null 2>&1 || { echo "make: '$(PYTHON)' is missing. Install Python 3.11 or newer, or name one: make PYTHON=python3.12 ..."; exit 1; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "make: $$($(PYTHON) --version) is too old; ampminder needs Python 3.11 or newer."; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { echo "make: Python's venv is missing. On Debian and its relatives: apt install python3-venv"; exit 1; }

$(READY): constraints.txt pyproject.toml | check-tools
	@echo "Setting up $(VENV): once, a minute or so ..."
	@$(PYTHON) -m venv $(VENV)
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r constraints.txt
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

demo: $(READY)
	@$(BIN)/ampminder demo

# README's picture, from a real demo.
picture: $(READY)
	@$(BIN)/python -m supervisor.demo.picture docs/demo.svg

# Tests start the program a hundred times: it is compiled once, whatever the shell says of byte code.
test: export PYTHONDONTWRITEBYTECODE :=
test: $(READY)
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check --quiet .
	@$(BIN)/mypy
	@$(BIN)/lint-imports
	@$(BIN)/python -m pytest

# What is published, at a broker and with a subscriber that are not ours.
test-mosquitto: $(READY)
	@$(BIN)/python -m pytest -m mosquitto tests/mosquitto

samples: $(READY)
	@$(BIN)/python -m tests.campaigns spine --quick
	@$(BIN)/python -m tests.campaigns breadth --quick
	@$(BIN)/python -m tests.campaigns alarms --quick
	@$(BIN)/python -m tests.campaigns measurement --quick
	@$(BIN)/python -m tests.benchmarks spine --quick

figures: $(READY)
	@$(BIN)/python -m tests.campaigns spine
	@$(BIN)/python -m tests.campaigns breadth
	@$(BIN)/python -m tests.campaigns alarms
	@$(BIN)/python -m tests.campaigns measurement
	@$(BIN)/python -m tests.benchmarks spine

# Pin again after pyproject.toml changed (needs the tool uv); no index address is written.
constraints:
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-emit-find-links \
	  --extra dev --no-header --no-annotate pyproject.toml -o constraints.txt

clean:
	rm -rf $(VENV) build *.egg-info
