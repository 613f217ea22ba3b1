# Thin names for the commands of DEVELOPERS.md. Needs the environment of `make setup`.
PYTHON = .venv/bin/python

.PHONY: setup test sweep lint format bench docs ci

setup:
	python3 -m venv .venv
	.venv/bin/pip install -q -e '.[dev]'

test:
	$(PYTHON) -m pytest

sweep:
	$(PYTHON) -m pytest -m sweep

lint:
	.venv/bin/ruff check .
	.venv/bin/ruff format --check .
	.venv/bin/mypy

format:
	.venv/bin/ruff format .

bench:
	$(PYTHON) -m tests.bench

docs:
	$(PYTHON) -m tests.test_documentation

ci:
	.ci/run
