#!/usr/bin/env bash
# The page's figures, read by another's parser of OpenMetrics: tests/scripts/scrape.py. Keeps it in target/scrape.
# Exit 77: it cannot be had here.
set -euo pipefail
cd "$(dirname "$0")/../.."

venv=target/scrape
# The newest that Python 3.11 to 3.13 all take; without dependencies.
parser=prometheus_client==0.26.0
if [ "$(cat "$venv/installed.txt" 2>/dev/null)" != "$parser" ]; then
    { python3 -m venv --clear "$venv" && "$venv/bin/pip" install -q "$parser"; } || {
        echo 'scrape: a parser of OpenMetrics cannot be installed here (python3-venv, or the package index)' >&2
        exit 77
    }
    echo "$parser" >"$venv/installed.txt"
fi
exec env PYTHONDONTWRITEBYTECODE=1 "$venv/bin/python" tests/scripts/scrape.py "${1:-target/release/tallyjaw}"
