#!/usr/bin/env bash
# The farm's sensors, simulated: twenty rooms and one in the yard, each with one message every ten seconds. MQTT 3.1.1 by
# hand over one connection, so that they cost the board next to nothing. What a room says stands in /run/farm/ROOM, if
# that file is there.
set -euo pipefail

password=$(<"$CREDENTIALS_DIRECTORY/sensors-password")

# Writes numbers as bytes.
bytes() {
    local number text=
    for number; do printf -v text '%s\\x%02x' "$text" "$number"; done
    printf '%b' "$text" >&3
}

# Writes text with its length before it. Everything here is plain ASCII and shorter than 128 bytes.
text() {
    bytes 0 ${#1}
    printf '%s' "$1" >&3
}

publish() {
    bytes 0x30 $((2 + ${#1} + ${#2}))
    text "$1"
    printf '%s' "$2" >&3
}

exec 3<>/dev/tcp/127.0.0.1/1883
# Connect, protocol level 4, with user and password, a clean session, no keep-alive.
bytes 0x10 $((10 + 2 + 7 + 2 + 7 + 2 + ${#password}))
text MQTT
bytes 4 0xc2 0 0
text sensors
text sensors
text "$password"
# The answer: accepted is the fourth byte, zero.
answer=$(head -c 4 <&3 | od -An -tx1)
[[ $answer == *' 00 00' ]] || { echo "the broker refuses the sensors:$answer" >&2 && exit 1; }

while true; do
    publish farm/yard '{"t":-9.5,"rh":82}'
    for room in room-{01..20}; do
        said='{"t":16.2,"rh":90.5,"co2":780}'
        if [[ -e /run/farm/$room ]]; then said=$(<"/run/farm/$room"); fi
        publish "farm/$room" "$said"
    done
    sleep 10
done
