#!/usr/bin/env bash
# The notebook of examples/ beside a daemon of the release build: tests/scripts/notebook.py.
# Keeps what it needs in target/notebook. Exit 77: it cannot be had here.
set -euo pipefail
cd "$(dirname "$0")/../.."

venv=target/notebook
if ! cat examples/notebook.txt tests/scripts/notebook.txt | cmp -s - "$venv/installed.txt"; then
    { python3 -m venv --clear "$venv" && "$venv/bin/pip" install -q -r examples/notebook.txt -r tests/scripts/notebook.txt; } || {
        echo 'notebook: SKIPPED, its packages cannot be installed here (python3-venv, or the package index)' >&2
        exit 77
    }
    cat examples/notebook.txt tests/scripts/notebook.txt >"$venv/installed.txt"
fi
export PYTHONDONTWRITEBYTECODE=1
exec "$venv/bin/python" tests/scripts/notebook.py "${1:-target/release/tallyjaw}"
