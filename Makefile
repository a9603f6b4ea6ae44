# Every target sets itself up. `make` alone lists them.

PYTHON ?= $(shell for name in python3 python3.13 python3.12 python3.11 python3.14 python; do \
	  $$name -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo $$name && break; done)
BIN := .venv/bin
READY := .venv/ready
DEMO ?= demo-class
DATA ?= intervouch-data

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: help setup demo serve soak test check bench bench-energy bench-pages screenshots catalogue \
  lock clean

help: ## list what can be made
	@sed -n 's/^\([a-z-]*\):[^#]*## /make \1\t/p' Makefile | expand -t 20

setup: $(READY) ## make the virtual environment .venv from the lock

demo: $(READY) ## make a fictional class in demo-class/ and check it
	@echo "== demo: make a fictional class in $(DEMO)/ and check it"
	@$(BIN)/intervouch demo --folder $(DEMO)

serve: $(READY) ## run the service on this machine, at http://127.0.0.1:8000
	@echo "== serve: the service, its data in $(DATA)/"
	@$(BIN)/intervouch serve --data $(DATA)

soak: $(READY) ## many uploads at once, and kill -9 fifty times, on both databases
	@echo "== soak: the service under load and under kill -9, on 127.0.0.1"
	@$(BIN)/python -m tests.service.soak $(SOAK)

test: check ## check style, types and imports, then run every test
	@echo "== test: pytest"
	@$(BIN)/python -m pytest

check: $(READY) ## check style, types and imports only
	@echo "== test: style (ruff)"
	@$(BIN)/ruff check
	@$(BIN)/ruff format --check
	@echo "== test: types (mypy)"
	@$(BIN)/mypy
	@echo "== test: imports run one way (import-linter)"
	@$(BIN)/lint-imports --no-logo

bench: $(READY) ## measure the engine on simulated classes whose truth is known
	@echo "== bench: simulated classes, engine against truth"
	@$(BIN)/python -m tests.bench --pictures bench-output $(BENCH)

bench-energy: $(READY) ## measure heart-rate lines against gas exchange
	@echo "== bench-energy: one-minute windows, heart rate against measured oxygen"
	@$(BIN)/python -m tests.bench.energy_bench $(BENCH)

bench-pages: $(READY) ## weigh every page for a class of thirty: bytes, and milliseconds in Chromium
	@echo "== bench-pages: a simulated class of thirty, the embedded server, Chromium"
	@$(BIN)/python -m tests.pages.bench $(BENCH)

screenshots: $(READY) ## photograph every page on a phone and on a desk, in screenshots/
	@echo "== screenshots: the fictional class, in screenshots/"
	@$(BIN)/python -m tests.pages.screenshots screenshots $(SHOTS)

catalogue: $(READY) ## bring the languages' catalogues to what the code says
	@echo "== catalogue: sentences in api/language/catalogues"
	@$(BIN)/python -m tests.language.catalogue

lock: $(READY) ## pin the newest allowed versions in requirements.lock
	@echo "== lock: requirements.lock"
	@$(BIN)/uv pip compile --quiet --upgrade --universal --python-version 3.11 --fork-strategy fewest \
	  --generate-hashes --no-emit-index-url --no-header --no-annotate \
	  pyproject.toml --group dev --output-file requirements.lock

clean: ## remove .venv, the demo and all caches
	@rm -rf .venv $(DEMO) bench-output screenshots build .hypothesis .import_linter_cache .mypy_cache .pytest_cache .ruff_cache
	@find ingest reconcile api tests -name __pycache__ -prune -exec rm -rf {} +

# The lock is laid in by uv, or, where uv finds no way to the packages, by pip itself (slower).
$(READY): requirements.lock setup.lock pyproject.toml
	@test -n "$(PYTHON)" || { echo "Python 3.11 or newer is missing: install it, or name it: make PYTHON=/its/path"; exit 1; }
	@echo "== set-up: a virtual environment in .venv, with the versions of requirements.lock"
	@test -x $(BIN)/python || $(PYTHON) -m venv .venv || { \
	  rm -rf .venv; echo "Python has no venv: install it, for instance \`apt-get install python3-venv\`"; exit 1; }
	@index=$${PIP_INDEX_URL:-$$($(BIN)/python -m pip config get global.index-url 2>/dev/null)}; \
	  export UV_DEFAULT_INDEX=$${UV_DEFAULT_INDEX:-$$index}; test -n "$$UV_DEFAULT_INDEX" || unset UV_DEFAULT_INDEX; \
	  { $(BIN)/python -m pip install -qq --disable-pip-version-check --require-hashes -r setup.lock \
	    && $(BIN)/uv pip sync --quiet --compile-bytecode --python $(BIN)/python --require-hashes requirements.lock; } \
	  || { echo "== set-up: uv cannot fetch the packages here, so pip does (slower, a minute or so)"; \
	       $(BIN)/python -m pip install -qq --disable-pip-version-check --require-hashes -r requirements.lock; }
	@$(BIN)/python -m pip install -qq --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@$(BIN)/python -m compileall -q ingest reconcile api
	@touch $(READY)
