SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
PYTHON ?= $(shell command -v python3.11 || command -v python3)
ARGS ?=
ONLY ?=
UV := .tools/bin/uv
PY := .venv/bin/python
export PYTHONDONTWRITEBYTECODE =
export UV_SYSTEM_CERTS = true

.PHONY: setup demo test check bench trials lock schemas serve clean

setup: .venv/.ok

.tools/bin/uv:
	@$(PYTHON) -m venv .tools
	@.tools/bin/pip install -q --disable-pip-version-check uv==0.13.9

.venv/.ok: requirements.lock pyproject.toml | .tools/bin/uv
	@echo "Setting up Python packages (once) ..."
	@$(UV) venv -q --clear --python $(PYTHON) .venv
	@$(UV) pip install -q -p .venv --compile-bytecode --require-hashes -r requirements.lock
	@$(UV) pip install -q -p .venv --no-deps --no-build-isolation -e .
	@$(PY) -c "from tackfree.climate import slab; from tackfree.cure import batch; slab.compile_kernels(); batch.compile_kernels()"
	@touch $@

# Resolve the pins again; the lock carries hashes and no registry address.
lock: | .tools/bin/uv
	@$(UV) pip compile -q pyproject.toml --all-extras --universal --python-version 3.11 \
	  --generate-hashes --no-emit-index-url --no-header --no-annotate -o requirements.lock

demo: setup
	@$(PY) demo/make_demo.py
	@bash tools/demo.sh $(ARGS)

test: setup
	@bash tools/test.sh $(ARGS)

check: setup
	@bash tools/check.sh

bench: setup
	@$(PY) -m bench $(if $(ONLY),--only $(ONLY),)

trials: setup
	@$(PY) -m pytest -m "slow or not slow" --trials

schemas: setup
	@$(PY) -m tackfree.bundle.schemas docs/schemas
	@$(PY) -m tackfree.cli.reference docs/commands.md

clean:
	rm -rf .venv .tools demo/out build dist bench/out
