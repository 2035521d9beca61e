#!/usr/bin/env bash
# What must be true of the package on a running system. It runs inside, as root, on a system that has just booted and has
# Mosquitto, jq and the sensors of sensors.sh, but not the package. Every line begins with `ok`, `FAIL` or `measured`; the
# last one counts them. Arguments: the package, and the same package as a later version.
set -uo pipefail

package=$1 later=$2
here=$(dirname "${BASH_SOURCE[0]}")
configuration=/etc/mistwright/mistwright.yaml
export DEBIAN_FRONTEND=noninteractive
passed=0 failed=0
out=$(mktemp)

# Claims that a command succeeds; where it does not, what it said is shown.
claim() {
    local sentence=$1
    shift
    if "$@" >"$out" 2>&1; then
        passed=$((passed + 1))
        echo "ok        $sentence"
    else
        failed=$((failed + 1))
        echo "FAIL      $sentence"
        tail -n 30 "$out" | sed 's/^/          /'
    fi
}

measured() { printf 'measured  %s: %s\n' "$1" "$2"; }

# Tries a command for so many seconds; an emulated board is given several times as many.
within() {
    local until=$((SECONDS + $1 * ${PATIENCE:-1}))
    shift
    until "$@"; do
        if ((SECONDS >= until)); then return 1; fi
        sleep 0.5
    done
}

not() { ! "$@"; }
prints_nothing() {
    local said
    said=$("$@" 2>&1)
    [[ -z $said ]] || { echo "$said" && return 1; }
}
status_says() { [[ $(property StatusText) == *"$1"* ]]; }
metrics_say() {
    exec 4<>/dev/tcp/127.0.0.1/9417 || return 1
    printf 'GET /metrics HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n' >&4
    grep "$1" <&4
}
says() { grep -qF -- "$1" "$2"; }
active() { [[ $(systemctl is-active mistwright) == active ]]; }
property() { systemctl show --value -p "$1" mistwright; }
process() { property MainPID; }

as_grower() { mosquitto_sub -h 127.0.0.1 -u grower -P "$(</root/grower-password)" "$@"; }
# The value that stands on a topic of the site (`/...`) or of a room (`-room-01/...`).
topic() { as_grower -t "homie/5/frosthollow$1" -C 1 -W 5 2>/dev/null; }
stands() { [[ $(topic "$1") == "$2" ]]; }
number_is() { jq -en --arg is "$(topic "$1")" --argjson wanted "$2" '($is | tonumber) - $wanted | fabs < 0.05' >/dev/null; }
number_is_above() { jq -en --arg is "$(topic "$1")" --argjson bound "$2" '($is | tonumber) > $bound' >/dev/null; }
# What a room's sensors say from their next message on.
room_says() { mkdir -p /run/farm && printf '%s' "$2" >"/run/farm/.new" && mv /run/farm/.new "/run/farm/$1"; }
advises() {
    local decision
    decision=$(topic "-$1/advice/decision") || return 1
    jq -e --argjson now "$(date +%s)" \
        '.mode != "withheld" and (."valid-until" | sub("\\.[0-9]+Z$"; "Z") | fromdate > $now)' <<<"$decision"
}

journal() { journalctl --quiet --unit mistwright --output json "$@"; }
of_the_daemon() { jq -es 'map(select(._COMM == "mistwright"))'"$1"; }

part() { printf '\n%s\n' "$1"; }

. "$here/parts.sh"

for one in installed_is_not_started started advice_follows watchdog_is_fed outages_are_survived state_is_kept \
    upgraded costs_little stopped_cleanly removed_and_purged journal_is_free_of_errors; do
    part "$one"
    "$one"
done

printf '\n%d passed, %d failed\n' "$passed" "$failed"
((failed == 0))
