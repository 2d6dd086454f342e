#!/usr/bin/env bash
# Sets up what is missing and passes the tests; says how long it took.
set -euo pipefail
begun=$SECONDS
bash tools/packages.sh
workers=$(nproc 2>/dev/null || echo 1)
.venv/bin/python -m pytest -rs -n "$((workers < 2 ? 0 : 2))" --dist loadfile "$@"
echo "Tests passed in $((SECONDS - begun)) s."
