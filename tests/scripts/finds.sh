#!/usr/bin/env bash
# Who finds what of 300 changed bits and 60 changes of a forger in each thing that a bench hands on: tests/scripts/finds.py.
#
#     SEED=1 BITS=1000 CHANGES=200 tests/scripts/finds.sh    # the table in docs/verify.md
set -euo pipefail
cd "$(dirname "$0")/../.."

export PYTHONDONTWRITEBYTECODE=1
exec python3 tests/scripts/finds.py "${1:-target/release/tallyjaw}"
