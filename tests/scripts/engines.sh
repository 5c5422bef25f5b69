#!/usr/bin/env bash
# Exports and data sets of the release build, read by duckdb and polars: tests/scripts/engines.py; and the same questions put to
# everything that counts readings, a broker and the page among them: tests/scripts/same_counts.py.
# Keeps these in target/engines. Exit 77: they cannot be had here.
set -euo pipefail
cd "$(dirname "$0")/../.."

venv=target/engines
if ! cmp -s tests/scripts/engines.txt "$venv/installed.txt"; then
    { python3 -m venv --clear "$venv" && "$venv/bin/pip" install -q -r tests/scripts/engines.txt; } || {
        echo 'engines: duckdb and polars cannot be installed here (python3-venv, or the package index)' >&2
        exit 77
    }
    cp tests/scripts/engines.txt "$venv/installed.txt"
fi
export PYTHONDONTWRITEBYTECODE=1
"$venv/bin/python" tests/scripts/engines.py "${1:-target/release/tallyjaw}" "${@:2}"
exec "$venv/bin/python" tests/scripts/same_counts.py "${1:-target/release/tallyjaw}"
