# Condyle: everything a fresh machine needs (Python 3.11 or newer, and a package index).
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.ready

.PHONY: demo test test-slow page bench clean

$(STAMP): pyproject.toml tests/requirements-data.txt
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --upgrade pip
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[test]'
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -r tests/requirements-data.txt
	touch $(STAMP)

demo: $(STAMP)
	$(BIN)/condyle demo --out build-demo || [ $$? -eq 1 ]  # 1 is a finding about the figure, not a failure

test: $(STAMP)
	$(BIN)/ruff check src tests benchmarks docs
	$(BIN)/ruff format --check src tests benchmarks docs
	$(BIN)/mypy
	$(BIN)/lint-imports --no-cache
	$(BIN)/python -m pytest -n 2

test-slow: $(STAMP)
	$(BIN)/python -m pytest -n 2 -m slow

# The page of the atlas, from TypeScript; needs Node 20 or newer.
page:
	cd web && npm ci --no-audit --no-fund && npm run build

bench: $(STAMP)
	$(BIN)/python -m benchmarks

clean:
	rm -rf $(VENV) build-demo
