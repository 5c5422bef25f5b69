#!/usr/bin/env bash
# Tries a static program of config/service/static: a demo, a day at a bench, kills at random moments, and files of any size.
#
#     tests/scripts/emulated.sh aarch64 [TEST…]      # or x86_64, armv7; TEST: other tests of the suite that use the program of a shop
#     KILLS=200 tests/scripts/emulated.sh armv7
#
# A foreign program runs by QEMU's user-mode emulation: the QEMU of the toolchain, a static program; 7.2 does not know the call by
# which a pseudo-terminal is set. The demo starts itself as the daemon, so the kernel must know it too, in a namespace of its own. In
# there root may not open a terminal that a killed daemon had for itself alone, so all else runs outside, by a line of shell.
# Tests that preload a library into the program (a clock that is set back, a disk that fails) are not for static ones.
# Exit status: 0 all passed, 1 one failed, 77 it cannot run here, and why.
set -euo pipefail
cd "$(dirname "$0")/../.."
export PYTHONDONTWRITEBYTECODE=1

architecture=${1-}
program=$PWD/target/static/$architecture/tallyjaw
root=${TOOLCHAIN:-$PWD/target/static/root}
[ -n "$architecture" ] && [ -x "$program" ] ||
    { printf 'emulated: no %s\nhelp: config/service/static %s\n' "$program" "${architecture:-aarch64}" >&2; exit 1; }
shift
[ $# -gt 0 ] || set -- crash:: large::

# emulated COMMAND…: where programs of both foreign kinds run as others do.
emulated() {
    unshare --user --map-root-user --mount bash -c 'set -e; root=$1; shift
        mount -t binfmt_misc binfmt_misc /proc/sys/fs/binfmt_misc
        none='\''\xff\xff\xff\xff\xff\xff\xff\x00\xff\xff\xff\xff\xff\xff\xff\xff\xfe\xff\xff\xff'\''
        known() { printf %s ":$1:M::\x7fELF$2\x01\x01\x00\x00\x00\x00\x00\x00\x00\x00\x00\x02\x00$3\x00:$none:$root/usr/bin/qemu-$1:F" >/proc/sys/fs/binfmt_misc/register; }
        known aarch64 "\x02" "\xb7"
        known arm "\x01" "\x28"
        exec "$@"' x "$root" "$@"
}

folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
run=()
tried=$program
if [ "$architecture" != x86_64 ]; then
    if ! emulated true 2>/dev/null; then
        printf 'emulated: SKIPPED, it cannot run here: no emulation in a namespace of its own\nhelp: it needs Linux 6.7 or newer\n' >&2
        exit 77
    fi
    run=(emulated)
    tried=$folder/tallyjaw
    printf '#!/bin/sh\nexec %q %q "$@"\n' "$root/usr/bin/qemu-${architecture/armv7/arm}" "$program" >"$tried"
    chmod +x "$tried"
fi

"$tried" --version
"${run[@]}" "$program" demo --fast --dir "$folder/demo" >"$folder/log" 2>&1 || { cat "$folder/log" >&2; exit 1; }
"$tried" --config "$folder/demo/tallyjaw.toml" verify
python3 tests/scripts/bench_day.py "$tried"
TALLYJAW_PROGRAM=$tried TALLYJAW_KILLS=${KILLS:-40} cargo test --locked --quiet --test suite -- --nocapture --test-threads 2 "$@"
