#!/bin/sh
# The event stream of the bench page, entry by entry, also through a proxy; it comes back where it was.
#
# Run it:   examples/events.sh http://127.0.0.1:8354 events.position
# Needs:    curl, and [page] in the configuration. From elsewhere than this machine the token too, which `tallyjaw page`
#           prints behind the #: TOKEN=… examples/events.sh https://bench-1.shop.example events.position
# Prints:   each entry as it is stored, a line of JSON, until it is stopped. After a kill the last may come twice.
set -u
url=$1 position=$2 pause=1
while true; do
    after=$(cat "$position" 2>/dev/null || echo 0)
    curl -sSN --fail ${TOKEN:+-H "Authorization: Bearer $TOKEN"} -H "Last-Event-ID: $after" "$url/events" |
        while IFS= read -r line; do
            case $line in
            'event: '*) event=${line#event: } ;; # state or notice; an entry has no name
            'id: '*) id=${line#id: } ;;
            'data: '*) data=${line#data: } ;;
            '')
                if [ -z "${event:-}" ] && [ -n "${data:-}" ]; then
                    printf '%s\n' "$data" && echo "$id" >"$position.new" && mv "$position.new" "$position"
                fi
                event='' data=''
                ;;
            esac
        done
    sleep "$pause" # curl ends with the daemon
    if [ "$(cat "$position" 2>/dev/null || echo 0)" = "$after" ]; then pause=$((pause < 8 ? 2 * pause : 10)); else pause=1; fi
done
