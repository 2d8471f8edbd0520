# Offing's one task entry. `make help` lists the targets. A second run is quick: stamps depend on the lock files.

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
MAKEFLAGS += --no-builtin-rules --no-print-directory
# The tests start hundreds of Pythons, which would all compile everything again.
unexport PYTHONDONTWRITEBYTECODE

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet --quiet
# A lock names everything: nothing is to be resolved, and `pip check` says afterwards whether anything is missing.
# Of what is installed a quarter is ever loaded: Python compiles that when it is. The longer lock is installed by halves.
PINNED := install --no-deps --no-compile --require-hashes
# The followers' page and the desk's are built together: the desk's comes last, so it stands for both.
PAGE := web/dist-desk/index.html
PAGE_SOURCES := $(shell find web -path web/node_modules -prune -o -path 'web/dist*' -prune -o -path web/test -prune -o -type f -print)
BROWSERS := chromium:chromium chromium-headless-shell:chromium-headless-shell firefox-esr:firefox-esr
# A stream's server and a caching proxy, for relays that are several: Debian puts them where only root looks.
SERVERS := /usr/sbin/nats-server:nats-server /usr/sbin/nginx:nginx
# Another hand's readers of an exported record: GDAL's, and its own check of a GeoPackage.
READERS := ogrinfo:gdal-bin /usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py:python3-gdal
# What the kernel saw of a process.
TRACERS := strace:strace
# What fails on purpose is written in C, and built where it is used.
COMPILER := gcc:gcc /usr/include/stdio.h:libc6-dev
# What an operator installs by: what the relay runs on, and what each extra adds.
SHIPPED_LOCKS := requirements.lock requirements-audit.lock requirements-mavlink.lock requirements-scale.lock
LOCKED := $(BIN)/python -m piptools compile --quiet --strip-extras --generate-hashes --allow-unsafe \
	--no-emit-index-url --no-emit-find-links --no-emit-trusted-host

say = @printf '· %s\n' '$(1)'

##@ Use
.PHONY: demo setup site wheel
demo: $(VENV)/.runs $(PAGE) ## Start a simulated dive and print the page's address; Ctrl-C ends it
	@exec $(BIN)/offing demo

setup: $(VENV)/.develops $(PAGE) ## Prepare everything for developing: Python, web packages, page, browser
	@.ci/need $(BROWSERS)
	$(call say,ready: make demo shows it, make test checks it)

site: $(PAGE) ## Build the followers' page into web/dist, the desk's into web/dist-desk

wheel: $(VENV)/.develops ## Build an installable wheel, page included, into dist/, and the locks to install it with
	@$(BIN)/python -m build --wheel --no-isolation --outdir dist
	@cp $(SHIPPED_LOCKS) dist

##@ Check
.PHONY: test lint types test-web collected test-python abuse bench conformance faults fuzz scale
test: ## Run every check there is, setting up side by side; pytest's closing line comes last
	@$(MAKE) --jobs=2 --output-sync lint types $(PAGE) test-web collected
	@$(MAKE) test-python

.PHONY: audit-deps
audit-deps: $(VENV)/.develops web/node_modules/.stamp ## Ask whether faults are known of what is pinned, where the network lets us
	@PYTHONPATH=.:tests $(BIN)/python tests/run_advisories.py

.PHONY: licences
licences: $(VENV)/.develops ## List the licence of everything that ships; 1 where one won't do, or one can't be read
	@PYTHONPATH=.:tests $(BIN)/python tests/run_licences.py $(ARGS)

.PHONY: sbom
sbom: $(BIN)/python ## Write what Offing is made of (CycloneDX) into dist/; the wheel carries it, too
	@$(BIN)/python web/bill_of_materials.py dist/offing.cdx.json
	$(call say,dist/offing.cdx.json)

lint: $(VENV)/.develops ## Look for faults that need no running
	$(call say,ruff)
	@$(BIN)/ruff check --quiet .
	@$(BIN)/ruff format --quiet --check .

types: $(VENV)/.develops web/node_modules/.stamp ## Check the types of Python and TypeScript
	$(call say,types)
	@$(BIN)/mypy --no-error-summary
	@cd web && npm run --silent typecheck

test-web: web/node_modules/.stamp ## Run the page's own tests
	$(call say,web tests)
	@cd web && npm run --silent test

# What doesn't load, the run of the tests tells.
collected: $(VENV)/.develops $(PAGE) ## Compile relay and tests once, where each worker on a bare machine would
	$(call say,tests compiled)
	@env -u PYTEST_ADDOPTS $(BIN)/python -m pytest --collect-only -p no:warnings -qq >/dev/null 2>&1 || :

test-python: $(VENV)/.develops $(PAGE) ## Run the Python and the browser tests (ARGS="-k name" chooses)
	@.ci/need $(BROWSERS) $(SERVERS) $(READERS) $(TRACERS) $(COMPILER)
	$(call say,python and browser tests)
	@$(BIN)/python -m pytest --numprocesses 3 --dist worksteal $(ARGS)

abuse: $(VENV)/.develops $(PAGE) ## Attack a ship's page, her desk and a shore, and print what came of it
	@.ci/need $(BROWSERS) prlimit:util-linux
	@PYTHONPATH=.:tests $(BIN)/python tests/run_abuse.py $(ARGS)

bench: $(VENV)/.develops $(PAGE) ## Measure decoding, journal, page and fan-out beside a floor
	@.ci/need $(COMPILER) nginx:nginx /usr/lib/nginx/modules/ngx_nchan_module.so:libnginx-mod-nchan
	@$(BIN)/python bench/run.py $(ARGS)

conformance: $(VENV)/.develops $(PAGE) ## Try each case of RFC 6455, and the HTTP description, on a running ship and shore
	@PYTHONPATH=.:tests $(BIN)/python tests/run_conformance.py $(ARGS)

faults: $(VENV)/.develops $(PAGE) ## Make hostile conditions by the hundred, and hold what is left to the rules
	@.ci/need $(COMPILER)
	@PYTHONPATH=.:tests $(BIN)/python tests/run_faults.py $(ARGS)

fuzz: $(VENV)/.develops $(PAGE) ## Fuzz every decoder for an hour, each branch watched (ARGS="--minutes 5")
	@$(BIN)/python tests/run_fuzz.py $(ARGS)

scale: $(VENV)/.develops $(PAGE) ## Run three relays on a stream under load, and kill each process in turn
	@.ci/need $(SERVERS)
	@PYTHONPATH=.:tests $(BIN)/python tests/run_scale.py $(ARGS)

.PHONY: soak
soak: $(VENV)/.develops $(PAGE) ## Run ship, shore and 1,000 viewers for two hours, the link failing: nothing may drift
	@PYTHONPATH=.:tests $(BIN)/python tests/run_soak.py $(ARGS)

##@ Upkeep
.PHONY: lock clean help
lock: $(VENV)/.develops ## Choose and pin the newest versions that pyproject.toml allows
	@$(PIP) install pip-tools
	@export CUSTOM_COMPILE_COMMAND='make lock'; \
	$(LOCKED) --upgrade --build-deps-for editable --output-file requirements.lock pyproject.toml; \
	$(LOCKED) --upgrade --extra mavlink --extra scale --extra audit --extra dev --build-deps-for editable \
		--constraint requirements.lock --output-file requirements-dev.lock pyproject.toml
	@$(BIN)/python web/extra_locks.py
	$(call say,then make licences ARGS=--keep: the bill of materials tells the licences)

clean: ## Remove what was built and installed here
	@rm -rf $(VENV) build dist web/dist web/dist-desk web/node_modules .mypy_cache .ruff_cache .pytest_cache .hypothesis

help: ## List the targets
	@awk 'BEGIN {FS = ":.*## "} /^##@/ {printf "\n%s\n", substr($$0, 5)} \
		/^[a-z-]+:.*## / {printf "  make %-12s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

# What the targets stand on.

$(BIN)/python:
	@PYTHON='$(PYTHON)' .ci/need $(PYTHON):python3 python-module-ensurepip:python3-venv
	@$(PYTHON) -c 'import sys; sys.version_info >= (3, 11) or sys.exit("Offing needs Python 3.11 or newer")'
	$(call say,python environment)
	@$(PYTHON) -m venv $(VENV)

$(VENV)/.runs: requirements.lock pyproject.toml | $(BIN)/python
	$(call say,python packages the relay needs)
	@$(PIP) $(PINNED) --requirement requirements.lock
	@$(PIP) install --no-deps --no-build-isolation --editable .
	@touch $@

$(VENV)/.develops: requirements-dev.lock $(VENV)/.runs
	$(call say,python packages for developing)
	@awk '/^[a-z]/ {half = !half} {print > ("$(VENV)/lock-" (half ? 1 : 2) ".txt")}' $<
	@$(PIP) $(PINNED) --requirement $(VENV)/lock-1.txt & $(PIP) $(PINNED) --requirement $(VENV)/lock-2.txt && wait $$!
	@$(PIP) check
	@touch $@

web/node_modules/.stamp: web/package.json web/package-lock.json
	@.ci/need node:nodejs npm:npm
	@node -e 'const [a, b] = process.versions.node.split("."); if (a * 100 + +b < 2019) throw "Node 20.19 or newer builds the page"'
	$(call say,web packages)
	@cd web && npm ci --no-audit --no-fund --loglevel=error >/dev/null
	@touch $@

$(PAGE): web/node_modules/.stamp $(PAGE_SOURCES)
	$(call say,pages)
	@cd web && npm run --silent build -- --logLevel warn
	@touch $@
