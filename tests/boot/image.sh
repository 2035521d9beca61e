# A root file system with everything but the package, and the check in it. Read by nspawn.sh and board.sh.
# shellcheck shell=bash

# Debian's own packages, unpacked: image_root ARCHITECTURE ARCHIVE MORE-PACKAGES
image_root() {
    local packages=systemd,systemd-sysv,init-system-helpers,mosquitto,mosquitto-clients,ca-certificates,jq,procps,sudo
    mkdir -p "$(dirname "$2")"
    mmdebstrap --quiet --architectures="$1" --variant=minbase --include="$packages${3:+,$3}" \
        --aptopt='Acquire::Languages "none"' --dpkgopt='path-exclude=/usr/share/locale/*' bookworm "$2"
}

# Puts package, check, broker and sensors into a root: image_fill ROOT PACKAGE
image_fill() {
    local root=$1 package=$2 here
    here=$(dirname "${BASH_SOURCE[0]}")
    mkdir -p "$root/check"
    cp "$here"/{check,parts,sensors,farm,evening}.sh "$here/../../README.md" "$package" "$root/check"
    image_later_version "$package" "$root/check/later.deb"
    date +%s >"$root/check/now"
    echo farm >"$root/etc/hostname"
    echo '127.0.0.1 localhost farm' >"$root/etc/hosts"

    local name
    rm -f "$root/etc/mosquitto/passwords"
    install -m 600 /dev/null "$root/etc/mosquitto/passwords"
    for name in mistwright sensors grower; do
        head -c 12 /dev/urandom | od -An -tx1 | tr -d ' \n' >"$root/root/$name-password"
        printf '%s:%s\n' "$name" "$(<"$root/root/$name-password")" >>"$root/etc/mosquitto/passwords"
    done
    chmod 600 "$root"/root/*-password
    cat >"$root/etc/mosquitto/conf.d/farm.conf" <<'TEXT'
listener 1883 127.0.0.1
allow_anonymous false
password_file /run/mosquitto/passwords
TEXT
    mkdir -p "$root/etc/systemd/system/mosquitto.service.d"
    # Hashed at the start, by the system's own tool.
    cat >"$root/etc/systemd/system/mosquitto.service.d/passwords.conf" <<'TEXT'
[Service]
ExecStartPre=/bin/sh -c 'install -o mosquitto -m 600 /etc/mosquitto/passwords /run/mosquitto/passwords && mosquitto_passwd -U /run/mosquitto/passwords && chown mosquitto /run/mosquitto/passwords'
TEXT
    cat >"$root/etc/systemd/system/sensors.service" <<'TEXT'
[Unit]
Description=The farm's sensors, simulated
After=mosquitto.service
StartLimitIntervalSec=0
[Service]
ExecStart=/bin/bash /check/sensors.sh
LoadCredential=sensors-password:/root/sensors-password
Restart=always
RestartSec=1
[Install]
WantedBy=multi-user.target
TEXT
    local unit
    mkdir -p "$root/etc/systemd/system/multi-user.target.wants"
    for unit in sensors check; do
        ln -sf "../$unit.service" "$root/etc/systemd/system/multi-user.target.wants/$unit.service"
    done
    # Nothing of its own accord may disturb the measurements.
    for unit in apt-daily.timer apt-daily-upgrade.timer dpkg-db-backup.timer e2scrub_all.timer fstrim.timer; do
        ln -sf /dev/null "$root/etc/systemd/system/$unit"
    done
}

# The unit that runs a command line and then switches off: image_check_unit ROOT OUTPUT COMMAND-LINE, with systemd's name
# of an output.
image_check_unit() {
    cat >"$1/etc/systemd/system/check.service" <<TEXT
[Unit]
Description=The check of the package
After=mosquitto.service sensors.service
[Service]
Type=oneshot
TimeoutStartSec=infinity
Environment=HOME=/root MEASURE_FOR=${MEASURE_FOR:-60} PATIENCE=${PATIENCE:-1}
StandardOutput=$2
StandardError=$2
ExecStart=$3
ExecStopPost=/bin/systemctl --no-block poweroff
[Install]
WantedBy=multi-user.target
TEXT
}

# The same package, called a later version.
image_later_version() {
    local work
    work=$(mktemp -d)
    dpkg-deb --raw-extract "$1" "$work"
    sed -i 's/^Version: .*/&+later/' "$work/DEBIAN/control"
    dpkg-deb --root-owner-group -Zgzip --build "$work" "$2" >/dev/null
    rm -rf "$work"
}
