#!/usr/bin/env bash
# Boots a Debian system of this machine's own architecture under a real service manager and has check.sh judge the
# package there:
#
#     tests/boot/nspawn.sh PACKAGE
#
# Needs root, systemd-nspawn, mmdebstrap, and a machine that lets a container boot. Exits 0 if every claim holds.
set -euo pipefail
here=$(dirname "$(realpath "${BASH_SOURCE[0]}")")
. "$here/image.sh"
package=$(realpath "$1")
cd "$here/../.."

archive=target/boot/$(dpkg --print-architecture).tar
if [[ ! -e $archive ]]; then
    image_root "$(dpkg --print-architecture)" "$archive"
fi
work=$(mktemp -d)
trap 'rm -rf --one-file-system "$work"' EXIT

# Boots a fresh system, has it run a command line, and tells the report while it grows.
boot() {
    local began=$SECONDS status=0 telling
    rm -rf --one-file-system "${work:?}/root"
    mkdir -p "$work/root" "$work/report"
    tar -C "$work/root" -xf "$archive"
    image_fill "$work/root" "$package"
    if [[ $1 == evening ]]; then
        # As a grower has it: no sensors yet, and the broker as Debian brings it.
        rm -f "$work/root/etc/systemd/system/multi-user.target.wants/sensors.service" \
            "$work/root/etc/mosquitto/conf.d/farm.conf" "$work"/root/etc/systemd/system/mosquitto.service.d/*
    fi
    image_check_unit "$work/root" append:/report/lines "$2"
    : >"$work/report/lines"
    tail -f "$work/report/lines" &
    telling=$!
    timeout --kill-after=10 900 systemd-nspawn --quiet --directory="$work/root" --boot --register=no --keep-unit \
        --private-network --console=pipe --bind="$work/report:/report" </dev/null >"$work/console" 2>&1 || status=$?
    sleep 1
    kill "$telling"
    printf '%s: made, booted, judged and switched off in %d s\n' "$1" $((SECONDS - began))
    if ! grep -q '^[1-9][0-9]* passed, 0 failed$' "$work/report/lines"; then
        echo "the $1 did not pass (systemd-nspawn ended with $status)" >&2
        tail -n 20 "$work/console" >&2
        exit 1
    fi
}

boot evening "/bin/bash /check/evening.sh /check/README.md /check/$(basename "$package")"
boot check "/bin/bash /check/check.sh /check/$(basename "$package") /check/later.deb"
