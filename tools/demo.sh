#!/usr/bin/env bash
# Builds the demo job into demo/out, prints where the sheets lie, then serves the pages.
set -euo pipefail
begun=$SECONDS
serve=yes
[ "${1:-}" = "--no-serve" ] && serve=no
.venv/bin/tackfree job build demo/job --out demo/out
echo "Demo built in $((SECONDS - begun)) s."
[ $serve = no ] && exit 0
# An invented record, so that clocks, film and kits to finish have something to show.
[ -e demo/job/.tackfree/job.sqlite ] ||
  .venv/bin/tackfree record import demo/job demo/job/record-example.jsonl
exec .venv/bin/tackfree serve demo/job --out demo/out
