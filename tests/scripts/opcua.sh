#!/usr/bin/env bash
# The OPC UA server, built with its feature, against a client that shares no code with it: tests/scripts/opcua.py.
# Keeps the client in target/opcua. Exit 77: it cannot be had here.
set -euo pipefail
cd "$(dirname "$0")/../.."

venv=target/opcua
if ! cmp -s tests/scripts/opcua.txt "$venv/installed.txt"; then
    { python3 -m venv --clear "$venv" && "$venv/bin/pip" install -q -r tests/scripts/opcua.txt; } || {
        echo 'opcua: the client cannot be installed here (python3-venv, or the package index)' >&2
        exit 77
    }
    cp tests/scripts/opcua.txt "$venv/installed.txt"
fi
cargo build -q --locked --features opcua --bin tallyjaw-opcua
export PYTHONDONTWRITEBYTECODE=1
exec "$venv/bin/python" tests/scripts/opcua.py "${1:-target/release/tallyjaw}" target/debug/tallyjaw-opcua "${@:2}"
