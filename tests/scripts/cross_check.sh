#!/usr/bin/env bash
# Figures of the release build against numpy, scipy and statsmodels, on 1,000 random sets: tests/scripts/cross_check.py.
# Keeps these in target/cross_check. Exit 77: they cannot be had here.
set -euo pipefail
cd "$(dirname "$0")/../.."

venv=target/cross_check
if ! cmp -s tests/scripts/requirements.txt "$venv/installed.txt"; then
    { python3 -m venv --clear "$venv" && "$venv/bin/pip" install -q -r tests/scripts/requirements.txt; } || {
        echo 'cross_check: numpy, scipy and statsmodels cannot be installed here (python3-venv, or the package index)' >&2
        exit 77
    }
    cp tests/scripts/requirements.txt "$venv/installed.txt"
fi
exec "$venv/bin/python" -W ignore tests/scripts/cross_check.py target/release/tallyjaw "$@"
