#!/usr/bin/env bash
# The check of a checkable report finds nothing in the reports of sound journals: tests/scripts/recomputed.py. The random ones are
# written by the test that is run first.
set -euo pipefail
cd "$(dirname "$0")/../.."

cargo test --locked --quiet --test suite -- --exact station::invariants::written::random_journals_on_disk_are_intact_sealed_or_not
export PYTHONDONTWRITEBYTECODE=1
exec python3 tests/scripts/recomputed.py "${1:-target/release/tallyjaw}" target/tmp/journals tests/journals
