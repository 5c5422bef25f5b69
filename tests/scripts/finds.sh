#!/usr/bin/env bash
# Who finds what of 1,000 changed bits and 200 changes of a forger in each thing that a bench hands on: tests/scripts/finds.py.
set -euo pipefail
cd "$(dirname "$0")/../.."

export PYTHONDONTWRITEBYTECODE=1
exec python3 tests/scripts/finds.py "${1:-target/release/tallyjaw}"
