#!/usr/bin/env bash
# Lint, form, types, import rule.
set -euo pipefail
begun=$SECONDS
.venv/bin/ruff check src tests bench demo
.venv/bin/ruff format --check src tests bench demo
.venv/bin/mypy
.venv/bin/python -m pytest tests/test_house.py
echo "Checked in $((SECONDS - begun)) s."
