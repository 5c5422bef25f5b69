#!/usr/bin/env bash
# Installs the Debian package on this machine as it would be without it, uses it as the service does, upgrades it and rolls
# back, and takes it away again. All of it happens in an overlay that is thrown away.
#
#     config/service/package && sudo tests/scripts/installed.sh
#
# Needs root, and a kernel that lets root mount; says so otherwise, and exits with 77.
set -euo pipefail
cd "$(dirname "$0")/../.."

package=$(ls target/debian/tallyjaw_*.deb)
lines=$(ls target/debian/tallyjaw-dbgsym_*.deb)
[ "$(id -u)" = 0 ] || { echo 'installed: not root, so nothing is installed' >&2; exit 77; }
if [ "${1:-}" != inside ]; then
    unshare --mount --pid --fork --kill-child true 2>/dev/null ||
        { echo 'installed: no mounts are allowed here, so nothing is installed' >&2; exit 77; }
    exec unshare --mount --pid --fork --kill-child "$0" inside
fi

layers=$(mktemp -d)
mount -t tmpfs -o mode=755 tmpfs "$layers"
mkdir "$layers/upper" "$layers/work" "$layers/root"
mount -t overlay -o "lowerdir=/,upperdir=$layers/upper,workdir=$layers/work" overlay "$layers/root" 2>/dev/null ||
    { echo 'installed: no overlay can be mounted here, so nothing is installed' >&2; exit 77; }
root=$layers/root
mount --rbind /dev "$root/dev"
mount -t proc proc "$root/proc"
mount -t tmpfs tmpfs "$root/run"
mount -t tmpfs -o mode=1777 tmpfs "$root/tmp"
cp "$package" "$root/tmp/tallyjaw.deb"

on() { chroot "$root" "$@"; }
as_service() { on setpriv --reuid=tallyjaw --regid=tallyjaw --init-groups "$@"; }
die() {
    printf 'installed: %s\n' "$1" >&2
    exit 1
}

on env DEBIAN_FRONTEND=noninteractive apt-get install -qy --no-install-recommends /tmp/tallyjaw.deb
on tallyjaw --version
on tallyjaw --config /etc/tallyjaw/tallyjaw.toml check
on id -nG tallyjaw | grep -qw dialout || die 'the user of the service may not open serial ports'
on zcat /usr/share/man/man1/tallyjaw-listen.1.gz | grep -q '^\.TH' || die 'no manual page'
on test -s /usr/share/bash-completion/completions/tallyjaw || die 'no completions'
verified=$(on systemd-analyze verify /usr/lib/systemd/system/tallyjaw.service 2>&1 | grep -v 'man ' || true)
[ -z "$verified" ] || die "the unit: $verified"
on systemd-analyze security --offline=true /usr/lib/systemd/system/tallyjaw.service | tail -n 1
# The same with the loopback opened for the bench page, with private networks for tablets, and for time stamps.
for opened in page tablet timestamp; do
    on install -D -m 644 "/usr/share/doc/tallyjaw/examples/$opened.conf" "/etc/systemd/system/tallyjaw.service.d/$opened.conf"
    verified=$(on systemd-analyze verify tallyjaw.service 2>&1 | grep -v 'man ' || true)
    [ -z "$verified" ] || die "the unit with $opened.conf: $verified"
    on rm -r /etc/systemd/system/tallyjaw.service.d
done

# As the unit starts it: its user, its two folders, nothing else.
on install -d -o tallyjaw -g tallyjaw -m 750 /var/lib/tallyjaw
on install -d -o tallyjaw -g tallyjaw -m 755 /run/tallyjaw
mkfifo "$root/tmp/ready"
chmod 666 "$root/tmp/ready"
as_service tallyjaw --config /etc/tallyjaw/tallyjaw.toml --json serve >"$root/tmp/ready" &
served=$!
read -r ready <"$root/tmp/ready"
case $ready in *'"kind":"ready"'*) ;; *) die "not ready: $ready" ;; esac
as_service tallyjaw --config /etc/tallyjaw/tallyjaw.toml status
on stat -c '%U:%G %a %n' /run/tallyjaw/feed.sock /run/tallyjaw/control.sock /var/lib/tallyjaw/journal
[ "$(on stat -c '%U %a' /run/tallyjaw/control.sock)" = 'tallyjaw 600' ] || die 'the control socket is not its owner’s alone'
on pkill -TERM -x -u tallyjaw tallyjaw
wait "$served" || die "it ended with $?"
on tallyjaw --config /etc/tallyjaw/tallyjaw.toml verify

# The lines of the source are of this very program.
cp "$lines" "$root/tmp/lines.deb"
on dpkg --install /tmp/lines.deb
id=$(readelf --notes "$root/usr/bin/tallyjaw" | sed -n 's/.*Build ID: //p')
beside=$root/usr/lib/debug/.build-id/${id:0:2}/${id:2}.debug
main=$(nm --demangle "$beside" | sed -n 's/ [tT] tallyjaw::main$//p' | head -n 1)
addr2line --exe "$beside" "0x${main:-0}" | grep -q 'src/main\.rs:' || die "no lines of the source in $beside"

# Upgrades and back. Packages of an older and of a newer release: the same files under other versions, each with another
# configuration of its own, so that dpkg has to decide about the one that a person has changed.
release() {
    rm -rf "$layers/release"
    dpkg-deb --raw-extract "$package" "$layers/release"
    sed -i "s/^Version: .*/Version: $1/" "$layers/release/DEBIAN/control"
    sed -i "1i # as release $1 has it" "$layers/release/etc/tallyjaw/tallyjaw.toml"
    dpkg-deb --build --root-owner-group -Znone "$layers/release" "$root/tmp/release-$1.deb" >/dev/null
}
release 0.0.1
release 99.0.0
journal() { on sh -c 'cat /var/lib/tallyjaw/journal/*.jsonl' | sha256sum; }
echo '# changed by a person' >>"$root/etc/tallyjaw/tallyjaw.toml"
on chown -R tallyjaw: /etc/tallyjaw # as for set-up on the page
configuration=$(on sha256sum /etc/tallyjaw/tallyjaw.toml)
kept=$(journal)
on dpkg --purge tallyjaw-dbgsym
for step in 'upgraded 99.0.0' 'rolled back 0.0.1' "upgraded again $(on dpkg-query -W -f '${Version}' tallyjaw)"; do
    version=${step##* }
    deb=/tmp/release-$version.deb
    on test -e "$deb" || deb=/tmp/tallyjaw.deb
    on dpkg --force-confold --install "$deb" </dev/null
    [ "$(on dpkg-query -W -f '${Version} ${Status}' tallyjaw)" = "$version install ok installed" ] || die "$step: it is not installed"
    [ "$(on sha256sum /etc/tallyjaw/tallyjaw.toml)" = "$configuration" ] || die "$step: the configuration that a person changed is gone"
    [ "$(journal)" = "$kept" ] || die "$step: the journal was changed"
    on systemd-tmpfiles --create tallyjaw.conf # as each start of the computer does
    [ "$(on stat -c %U /etc/tallyjaw)" = tallyjaw ] || die "$step: the folder of the configuration was taken from the service"
    as_service tallyjaw --config /etc/tallyjaw/tallyjaw.toml verify >/dev/null || die "$step: the journal does not verify"
done

on dpkg --purge tallyjaw
! on test -e /usr/bin/tallyjaw || die 'the program stays after a purge'
on test -e /var/lib/tallyjaw/journal/00000001.jsonl || die 'a purge took the journal away'
echo 'installed: the package came, served as its user, was upgraded, rolled back, and went; configuration and journal stayed'
