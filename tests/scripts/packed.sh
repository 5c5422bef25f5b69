#!/usr/bin/env bash
# Packs one program twice as config/service/static gives it away, in two folders with other times and another umask: the same
# bytes. Then reads the checksums, the signature and the package as those who get them do.
#
#     tests/scripts/packed.sh [PROGRAM]     # usually target/release/tallyjaw, which is no static program but will do
set -euo pipefail
cd "$(dirname "$0")/../.."

die() {
    printf 'packed: %s\n' "$1" >&2
    exit 1
}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir "$work/here" "$work/elsewhere" "$work/sources"
for folder in here elsewhere; do
    strip -o "$work/$folder/tallyjaw" "${1:-target/release/tallyjaw}"
done
ssh-keygen -q -t ed25519 -N '' -C '' -f "$work/key"
SOURCE_DATE_EPOCH=$(git log -1 --format=%ct)
export SOURCE_DATE_EPOCH RELEASE_KEY=$work/key
target="$(uname -m)-unknown-linux-musl"
beside='musl=1.2.5=MIT'

config/service/release "$work/here/tallyjaw" "$target" "$beside"
git ls-files -z | tar -c --null --files-from=- | (umask 077 && tar -x --touch --no-same-permissions -C "$work/sources")
(umask 077 && TZ=UTC-9 LC_ALL=C.UTF-8 "$work/sources/config/service/release" "$work/elsewhere/tallyjaw" "$target" "$beside")
diff -r "$work/here" "$work/elsewhere" || die 'the same program and sources gave other bytes in another folder'

cd "$work/here"
sha256sum --quiet --check SHA256SUMS
listed=$(sed 's/^[0-9a-f]*  //' SHA256SUMS)
want=$(printf '%s\n' licences.txt tallyjaw tallyjaw.cdx.json tallyjaw_*.deb)
[ "$listed" = "$want" ] || die "SHA256SUMS lists $listed"
signed() { ssh-keygen -Y verify -n tallyjaw -I tallyjaw -f tallyjaw.allowed -s SHA256SUMS.sig >/dev/null 2>&1; }
signed <SHA256SUMS || die 'the signature of the checksums does not hold'
if sed s/a/b/ SHA256SUMS | signed; then die 'the signature holds for other checksums'; fi

dpkg-deb --contents tallyjaw_*.deb >contents
owners=$(awk '{ print $2 }' contents | sort -u)
[ "$owners" = root/root ] || die "the files of the package belong to $owners"
for name in licences.txt tallyjaw.cdx.json; do
    grep -q "usr/share/doc/tallyjaw/$name.gz" contents || die "the package has no $name"
done
printf 'packed: twice the same bytes, %s\n' "$(sha256sum tallyjaw_*.deb)"
