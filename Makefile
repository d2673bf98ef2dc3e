# The commands of a newcomer: `make demo` to look, `make test` to check everything.

SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help
.NOTPARALLEL:

VENV := .venv
PYTHON ?= $(firstword $(foreach name,python3 python3.13 python3.12 python3.11,\
  $(shell command -v $(name) >/dev/null 2>&1 && \
    $(name) -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && \
    echo $(name))))
PY := $(VENV)/bin/python
PIP := $(PY) -m pip --disable-pip-version-check install --quiet --require-hashes
PYTEST := $(PY) -m pytest
WORKERS ?= 2
PARALLEL := -n $(WORKERS) --dist loadfile
# Rooms without a row in them: what no database can change is tried on one of them only.
WITHOUT_ROWS := tests/charts tests/credential tests/paper tests/science tests/wording

# One stamp a lock file: nothing is installed again until the lock changes.
RUN := $(VENV)/.run-installed
DEV := $(VENV)/.dev-installed

.PHONY: help
help:
	@echo "make demo      set up an invented club and serve it on http://127.0.0.1:8000"
	@echo "make test      everything CI runs: lint, types, layers, migrations, tests, journeys"
	@echo "make soak      the long numbers of the reliability tests (some hours)"
	@echo "make bench     the measurements of DEVELOPERS.md"
	@echo "make lint | types | layers | migrations | test-sqlite | test-postgres | journeys"
	@echo "make format    let ruff rewrite the layout of the code"
	@echo "make lock      resolve the dependencies of pyproject.toml anew"
	@echo "make sbom      what a release is made of, as CycloneDX, into var/sbom.json"
	@echo "make messages  collect the strings to translate"
	@echo "make clean     remove what building and testing made (keeps var/, the club's data)"

# --- Setting up ---------------------------------------------------------------

$(PY):
	@if [ -z "$(PYTHON)" ]; then \
	  echo "Soundline needs Python 3.11 or newer with its venv module"; \
	  echo "(on Debian and Ubuntu: apt install python3-venv)."; exit 1; fi
	$(PYTHON) -m venv $(VENV)

$(RUN): requirements-run.lock | $(PY)
	@echo "Installing what the registry needs to run (about half a minute) ..."
	$(PIP) -r requirements-run.lock
	@touch $@

$(DEV): requirements.lock requirements-run.lock | $(PY)
	@echo "Installing what the registry and its tests need (about a minute) ..."
	$(PIP) -r requirements.lock
	@touch $(RUN) $@

# --- Looking ------------------------------------------------------------------

STATIC_STAMP := var/static/.collected

$(STATIC_STAMP): $(RUN) $(shell find registry/static -type f 2>/dev/null)
	@echo "Collecting style sheets and scripts ..."
	@$(PY) manage.py collectstatic --no-input --clear --verbosity 0
	@touch $@

.PHONY: demo
demo: export SOUNDLINE_MODE := demo
demo: $(RUN)
	@$(MAKE) --silent --no-print-directory $(STATIC_STAMP)
	@$(PY) manage.py migrate --no-input --verbosity 0
	@$(PY) manage.py demo
	@echo "Serving on http://127.0.0.1:8000 (stop with Ctrl-C)"
	@exec $(PY) -m gunicorn

# --- Checking -----------------------------------------------------------------

.PHONY: test
test: lint types layers migrations test-sqlite test-postgres journeys
	@$(PY) -m tests.reach postgres >/dev/null || [ $$? -eq 1 ]
	@$(PY) -m tests.reach browser >/dev/null || [ $$? -eq 1 ]
	@echo "make test: all of it passed, except what a line above says was not run."

.PHONY: lint
lint: $(DEV)
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check .

.PHONY: format
format: $(DEV)
	$(VENV)/bin/ruff check --fix --show-fixes .
	$(VENV)/bin/ruff format .

.PHONY: types
types: $(DEV)
	$(VENV)/bin/mypy

.PHONY: layers
layers: $(DEV)
	$(VENV)/bin/lint-imports

.PHONY: migrations
migrations: $(DEV)
	SOUNDLINE_MODE=development $(PY) manage.py makemigrations --check --dry-run

.PHONY: test-sqlite
test-sqlite: $(DEV)
	env -u DATABASE_URL $(PYTEST) $(PARALLEL) -m "not requires_browser"

.PHONY: test-postgres
test-postgres: $(DEV)
	@if url=$$($(PY) -m tests.reach postgres); then \
	  DATABASE_URL=$$url $(PYTEST) $(PARALLEL) -m "not requires_browser" \
	    $(addprefix --ignore=,$(WITHOUT_ROWS)); \
	else [ $$? -eq 1 ]; fi

.PHONY: journeys
journeys: $(DEV)
	env -u DATABASE_URL $(PYTEST) $(PARALLEL) -m requires_browser

# The long numbers of the tests that CI runs short; then the table of what was really done.
SOAKED := tests/reliability tests/api/test_schemathesis.py tests/desk/test_mail.py \
  tests/archive/test_under_load.py tests/web/account/test_lockout.py

.PHONY: soak
soak: export SOUNDLINE_SOAK := 1
soak: $(DEV)
	@mkdir -p var && rm -f var/soak.failed
	env -u DATABASE_URL $(PYTEST) $(SOAKED) || touch var/soak.failed
	@if url=$$($(PY) -m tests.reach postgres); then \
	  DATABASE_URL=$$url $(PYTEST) $(SOAKED) || touch var/soak.failed; \
	else [ $$? -eq 1 ]; fi
	$(PY) -m tests.soak
	@if [ -e var/soak.failed ]; then rm var/soak.failed; echo "make soak: a test failed."; exit 1; fi

.PHONY: bench
bench: $(DEV)
	$(PY) -m tests.bench

# --- Tending ------------------------------------------------------------------

LOCK := $(VENV)/bin/uv pip compile pyproject.toml --quiet --universal --python-version 3.11 \
  --no-emit-index-url --no-header --generate-hashes

.PHONY: lock
lock: $(PY)
	$(PY) -m pip --disable-pip-version-check install --quiet uv
	$(LOCK) --extra dev --output-file requirements.lock
	$(LOCK) --constraints requirements.lock --output-file requirements-run.lock

.PHONY: sbom
sbom: | $(PY)
	@mkdir -p var
	$(PY) deploy/sbom.py > var/sbom.json
	@echo "var/sbom.json lists $$(grep -c '"purl"' var/sbom.json) packages."

.PHONY: messages
messages: $(DEV)
	SOUNDLINE_MODE=development $(PY) manage.py makemessages --all --no-obsolete \
	  --ignore .venv --ignore var

.PHONY: clean
clean:
	rm -rf $(VENV) var/static .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis
	find . -name __pycache__ -type d -not -path './var/*' -exec rm -rf {} +
