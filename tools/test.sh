#!/usr/bin/env bash
# Sets up what is missing and passes the tests; says how long it took.
set -euo pipefail
begun=$SECONDS
bash tools/packages.sh
.venv/bin/python -m pytest -rs "$@"
echo "Tests passed in $((SECONDS - begun)) s."
