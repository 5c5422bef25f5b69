#!/usr/bin/env bash
# Every program of examples/ against the release build, a real broker and a real scraper: tests/scripts/examples.py.
# Before it the clients that count and the types of the schemas: tests/scripts/clients.py.
# With --scale behind the path of tallyjaw, what a bench costs instead: tests/scripts/scale.py.
# Keeps what these need in target/examples. Exit 77: they cannot be had here, and which.
set -euo pipefail
cd "$(dirname "$0")/../.."

cache=target/examples
mkdir -p "$cache"
cannot() {
    printf 'examples: SKIPPED, they cannot run here: %s\nhelp: %s\n' "$1" "$2" >&2
    exit 77
}

missing=()
needs() { command -v "$1" >/dev/null || [ -x "/usr/sbin/$1" ] || missing+=("$2"); }
needs node nodejs
needs npm npm
needs jq jq
needs socat socat
needs curl curl
needs mosquitto mosquitto
needs mosquitto_pub mosquitto-clients
as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi
}
if [ ${#missing[@]} -gt 0 ]; then
    { as_root apt-get update -q && as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -qy --no-install-recommends "${missing[@]}"; } >"$cache/apt.log" 2>&1 ||
        cannot "${missing[*]} cannot be installed, see $cache/apt.log" "install ${missing[*]}"
fi
node -e 'process.exit(process.versions.node.split(".")[0] >= 18 ? 0 : 1)' ||
    cannot "Node is $(node --version), want 18 or newer" 'install a newer nodejs'

if ! cmp -s examples/requirements.txt "$cache/installed.txt"; then
    { python3 -m venv --clear "$cache/python" && "$cache/python/bin/pip" install -q -r examples/requirements.txt; } ||
        cannot 'the packages of examples/requirements.txt cannot be installed' 'look at python3-venv and the package index'
    cp examples/requirements.txt "$cache/installed.txt"
    rm -f "$cache/types.txt"
fi

# A type checker of each language for the types that are made of the schemas.
types='mypy==2.4.1 typescript@5.9.3 @types/node@20.19.43'
if [ "$(cat "$cache/types.txt" 2>/dev/null)" != "$types" ]; then
    read -r python script node <<<"$types"
    { "$cache/python/bin/pip" install -q "$python" && mkdir -p "$cache/types" && (cd "$cache/types" &&
        npm install --prefix . --no-save --no-package-lock --no-audit --no-fund --ignore-scripts "$script" "$node"); } >"$cache/types.log" 2>&1 ||
        cannot "mypy or typescript cannot be installed, see $cache/types.log" 'look at npm and the package indexes'
    echo "$types" >"$cache/types.txt"
fi
cargo build -q --locked --example fold

# The scraper and its checker out of Debian's package, which is not installed: it would run as a service from then on.
fetch() { (cd "$cache/scraper.deb" && apt-get download -q prometheus); }
if ! command -v prometheus >/dev/null && [ ! -x "$cache/scraper/usr/bin/prometheus" ]; then
    rm -rf "$cache/scraper.deb" && mkdir "$cache/scraper.deb"
    { { fetch || { as_root apt-get update -q && fetch; }; } && dpkg -x "$cache"/scraper.deb/*.deb "$cache/scraper"; } \
        >"$cache/scraper.log" 2>&1 ||
        cannot "Debian's package prometheus cannot be had, see $cache/scraper.log" 'install prometheus'
fi
export PATH=$PATH:/usr/sbin:$PWD/$cache/scraper/usr/bin PYTHONDONTWRITEBYTECODE=1
tallyjaw=${1:-target/release/tallyjaw}
if [ "${2:-}" = --scale ]; then
    exec "$cache/python/bin/python" tests/scripts/scale.py "$tallyjaw"
fi
"$cache/python/bin/python" tests/scripts/clients.py "$tallyjaw" "$cache/types" target/debug/examples/fold
exec "$cache/python/bin/python" tests/scripts/examples.py "$tallyjaw"
