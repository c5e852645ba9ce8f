# Sets up everything on the way; a fresh machine needs only make and Python 3.11 or later.
# On Windows use the pip commands in README.md.
PYTHON ?= python3
BIN := .venv/bin
PYTEST := ./.ci/on-screen $(BIN)/python -m pytest

.PHONY: demo test screens bench soak clean

demo: .venv/.ready-to-run
	@rm -rf demo
	@$(BIN)/surfscan demo demo --against-truth

test: .venv/.ready-to-test screens
	@$(BIN)/ruff check
	@$(BIN)/ruff format --check
	@$(BIN)/mypy
	@$(PYTEST) -n 2 --dist loadfile

screens: | .venv
	@./.ci/screens
	@./.ci/axe .venv

bench: .venv/.ready-to-test
	@$(BIN)/python -m benchmarks

soak: .venv/.ready-to-test
	@$(BIN)/python benchmarks/interval_coverage.py
	@$(BIN)/python benchmarks/extremes_coverage.py
	@$(BIN)/python benchmarks/strut_coverage.py --first-seed 6000
	@$(BIN)/python benchmarks/study_coverage.py
	@$(BIN)/python benchmarks/soak_kill.py

# The environment is installed anew whenever pyproject.toml changes.
.venv/.ready-to-run: pyproject.toml | .venv
	@echo "Installing surfscan into .venv"
	@$(BIN)/python -m pip install -qq -e .
	@touch $@

.venv/.ready-to-test: pyproject.toml | .venv
	@echo "Installing surfscan with its test and viewer extras into .venv"
	@$(BIN)/python -m pip install -qq -e ".[test,viewer]"
	@touch $@ .venv/.ready-to-run

.venv:
	@./.ci/new-venv "$(PYTHON)" .venv

clean:
	rm -rf demo build dist bench-results .pytest_cache .mypy_cache .ruff_cache .hypothesis
