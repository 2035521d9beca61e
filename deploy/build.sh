#!/usr/bin/env bash
# Builds Debian packages on a plain Debian machine, with the compiler from Debian's own archive:
#
#     deploy/build.sh [amd64] [arm64]
#
# Without arguments, both. What is missing is installed first, as root or by sudo. An amd64 machine also builds for arm64, and
# an arm64 machine for itself alone. The packages are put into target/debian. Debian 12 or newer, with its security updates
# (the compiler comes with them).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

here=$(dpkg --print-architecture)
if (($# == 0)); then
    if [[ $here == amd64 ]]; then set -- amd64 arm64; else set -- "$here"; fi
fi
as_root=()
if ((EUID != 0)); then as_root=(sudo); fi

install_tools() {
    local architecture wanted=(rustc-web cargo-web libstd-rust-web-dev gcc libc6-dev dpkg-dev ca-certificates) missing=()
    for architecture; do
        if [[ $architecture == "$here" ]]; then continue; fi
        if [[ $here/$architecture != amd64/arm64 ]]; then
            echo "build.sh: a $here machine cannot build for $architecture" >&2
            exit 2
        fi
        wanted+=(gcc-aarch64-linux-gnu libc6-dev-arm64-cross libstd-rust-web-dev:arm64)
        if ! dpkg --print-foreign-architectures | grep -qx arm64; then
            "${as_root[@]}" dpkg --add-architecture arm64
        fi
    done
    local package
    for package in "${wanted[@]}"; do
        if ! dpkg-query -W -f '${db:Status-Status}\n' "$package" 2>/dev/null | grep -qx installed; then
            missing+=("$package")
        fi
    done
    if ((${#missing[@]})); then
        "${as_root[@]}" apt-get update -q
        "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive \
            apt-get install -qy --no-install-recommends "${missing[@]}"
    fi
}

build() {
    local triple=x86_64-unknown-linux-gnu
    if [[ $1 == arm64 ]]; then triple=aarch64-unknown-linux-gnu; fi
    cargo build --release --locked --bin mistwright --target "$triple"
    bash deploy/package.sh "$CARGO_TARGET_DIR/$triple/release/mistwright" "$1" target/debian
}

install_tools "$@"
# Debian's compiler and its library go together, so another one on the path must not be met.
export PATH=/usr/bin:/bin RUSTC=/usr/bin/rustc
unset RUSTUP_TOOLCHAIN
export CARGO_TARGET_DIR=$PWD/target/debian/build
export CARGO_TARGET_AARCH64_UNKNOWN_LINUX_GNU_LINKER=aarch64-linux-gnu-gcc
for architecture; do
    build "$architecture"
done
