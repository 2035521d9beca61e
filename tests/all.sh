#!/usr/bin/env bash
# Everything that must hold before a change goes in: format, lints, tests against real peers, documentation, examples.
# Prints each stage's time, and stops at the first stage that fails, with its name.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

# Debian keeps mosquitto in /usr/sbin, which is not on everybody's path.
export PATH="$PATH:/usr/sbin:/usr/local/sbin"
# Peers are installed below, so a test that cannot find one has failed.
export CI=true

current=start
times=()
total=$SECONDS

ended() {
    local status=$?
    printf '\n'
    if ((${#times[@]})); then printf '%s\n' "${times[@]}"; fi
    if ((status == 0)); then
        printf 'all stages passed in %d s\n' $((SECONDS - total))
    else
        printf 'FAILED in stage "%s" (exit code %d) after %d s\n' "$current" "$status" $((SECONDS - total)) >&2
    fi
}
trap ended EXIT

stage() {
    current=$1
    shift
    local began=$SECONDS
    printf '\n== %s\n' "$current"
    "$@"
    times+=("$(printf '%5d s  %s' $((SECONDS - began)) "$current")")
}

# The tests speak to a real broker, have a real monitoring tool read the metrics, and look at the page in a real browser,
# where a checker for accessibility comes from npm's registry.
peers() {
    local missing=()
    command -v mosquitto >/dev/null || missing+=(mosquitto)
    command -v mosquitto_sub >/dev/null || missing+=(mosquitto-clients)
    command -v promtool >/dev/null || missing+=(prometheus)
    command -v openssl >/dev/null || missing+=(openssl)
    [[ -e /usr/lib/$(uname -m)-linux-gnu/faketime/libfaketimeMT.so.1 ]] || missing+=(libfaketime)
    command -v chromium >/dev/null || missing+=(chromium)
    command -v chromedriver >/dev/null || missing+=(chromium-driver)
    command -v npm >/dev/null || missing+=(npm)
    # The drawings' letters, whose size the tests judge.
    fc-list 2>/dev/null | grep -q DejaVuSans || missing+=(fonts-dejavu-core)
    # For the package, and for a system that it is installed on.
    command -v lintian >/dev/null || missing+=(lintian)
    command -v dpkg-parsechangelog >/dev/null || missing+=(dpkg-dev)
    command -v man >/dev/null || missing+=(man-db)
    command -v systemd-analyze >/dev/null || missing+=(systemd)
    command -v systemd-nspawn >/dev/null || missing+=(systemd-container)
    command -v mmdebstrap >/dev/null || missing+=(mmdebstrap)
    if ((${#missing[@]} == 0)); then
        echo 'everything that the tests speak to is installed'
        return
    fi
    local as_root=()
    if ((EUID != 0)); then as_root=(sudo); fi
    if ! command -v apt-get >/dev/null || { ((EUID != 0)) && ! command -v sudo >/dev/null; }; then
        printf 'Install these first (names of Debian packages): %s\n' "${missing[*]}" >&2
        return 1
    fi
    "${as_root[@]}" apt-get update -q
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -qy --no-install-recommends "${missing[@]}"
}

lints() {
    cargo clippy --all-targets --locked -- -D warnings
    cargo clippy --test long --locked -- -D warnings
    cargo clippy --all-targets --locked --no-default-features -- -D warnings
    cargo clippy --bin mistwright-documents --features documents --locked -- -D warnings
}

examples() {
    local file found=0
    for file in examples/*.yaml; do
        if [[ -e $file ]]; then
            printf '%s: ' "$file"
            cargo run --quiet --locked -- check "$file"
            found=$((found + 1))
        fi
    done
    if ((found == 0)); then
        echo 'there is no example configuration' >&2
        return 1
    fi
}

# A container can only be booted by root.
boot() {
    local as_root=()
    if ((EUID != 0)); then as_root=(sudo); fi
    "${as_root[@]}" bash tests/boot/nspawn.sh target/debian/mistwright_*_"$(dpkg --print-architecture)".deb
}

stage peers peers
stage format cargo fmt --check
stage lints lints
stage tests cargo test --locked
# Their tables are worth reading.
stage seasons cargo test --locked --profile long --test long -- --nocapture --test-threads 2
stage documentation env RUSTDOCFLAGS="-D warnings" cargo doc --no-deps --locked
stage examples examples
stage package bash tests/package.sh
stage boot boot
