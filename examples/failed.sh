#!/bin/sh
# What failed, one line: every crimp outside its limits since the journal began, then each as it comes.
#
# Run it:   examples/failed.sh run/feed.sock
# Needs:    socat and jq; leave to read the socket. Where tallyjaw itself is at hand, without socat:
#             tallyjaw watch --json --after 0 | jq -r 'select(.kind == "reading" and (.verdict // "" | startswith("fail")))'
# Prints:   one line for each failed reading, until it is stopped or the daemon is:
#             2026-11-25T20:56:42.113012Z bench-1 QF-250-F core_crimp_height 1.75 mm fail_high
echo '{"after":0}' | socat -t 1000000000 - "UNIX-CONNECT:${1:-run/feed.sock}" | jq -r --unbuffered \
    'select(.kind == "reading" and (.verdict // "" | startswith("fail"))) | "\(.at) \(.station) \(.terminal) \(.axis) \(.value) \(.unit) \(.verdict)"'
