#!/usr/bin/env bash
# rustdoc, as `cargo test --doc` calls it for the examples in comments (RUSTDOC). Makes the documentation beforehand, which
# must be without a warning, with the dependencies that the tests have compiled; `cargo doc` would compile all of them again.
set -euo pipefail

documented=()
is_test=
for argument in "$@"; do
    if [ -n "${skip-}" ]; then
        skip=
        continue
    fi
    case $argument in
    --test) is_test=1 ;;
    --test-run-directory | --test-args) skip=1 ;;
    *) documented+=("$argument") ;;
    esac
done
[ -z "$is_test" ] || rustdoc "${documented[@]}" -D warnings --out-dir target/doc
exec rustdoc "$@"
