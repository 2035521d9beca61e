# The parts of the check, in their order: each goes on where the one before has ended. Read by check.sh.
# shellcheck shell=bash disable=SC2154

installed_is_not_started() {
    claim 'the package installs' dpkg --install "$package"
    cp "$out" /run/said
    claim 'installing says which file to edit' says "$configuration" /run/said
    claim 'installing says that `mistwright check` guides' says 'mistwright check' /run/said
    claim 'nothing is started' not active
    claim 'nothing is enabled' not systemctl is-enabled mistwright
    claim 'nothing has failed' prints_nothing systemctl --failed --no-legend
    mistwright check >/run/said
    claim '`mistwright check` finds the file not yet good' test $? = 1
    claim 'and says what to do' says 'take the `#` off' /run/said
    claim 'the unit is flawless to systemd' prints_nothing systemd-analyze verify --man=no mistwright.service
    claim 'the sandbox scores at most 1.5' systemd-analyze security --threshold=15 mistwright.service
    claim 'the example, commented in, is good' mistwright check <(sed -n '/^#site/,$s/^#//p' "$configuration")
    claim 'the system user has no shell and no password' \
        grep -q '^mistwright:[^:]*:[0-9]*:[0-9]*:[^:]*:/var/lib/mistwright:/usr/sbin/nologin$' /etc/passwd
}

started() {
    bash "$here/farm.sh" >"$configuration"
    install -m 600 /root/mistwright-password /etc/mistwright/broker-password
    claim '`mistwright check` finds the farm good' mistwright check
    if (($(date +%s) < 1793491200)); then
        before_the_time_is_known
    fi
    claim 'the service starts, and systemd is told that it is ready' systemctl enable --now mistwright
    claim 'it is active' active
    claim 'the broker takes it in, so that its password was read from the credential' \
        within 20 stands '/$state' ready
    claim 'the credential is there' test -s /run/credentials/mistwright.service/broker-password
    claim 'the password file is root'\''s alone' test "$(stat -c '%a %U' /etc/mistwright/broker-password)" = '600 root'
    claim 'the daemon runs as its own user' test "$(stat -c %U "/proc/$(process)")" = mistwright
    claim 'it has no capability' grep -q '^CapEff:[[:space:]]*0*$' "/proc/$(process)/status"
}

# A board without a battery clock starts with a date that cannot be.
before_the_time_is_known() {
    claim 'it starts under a date that cannot be' systemctl start mistwright
    claim 'readings are published all the same' within 30 number_is -room-01/air/temperature 16.2
    claim 'advice is withheld' within 10 stands -room-01/advice/mode withheld
    claim 'systemctl says why' within 10 status_says 'the date is not believed'
    date --set="@$(<"$here/now")" >/dev/null
    claim 'advice is given once the time is known' within 30 advises room-01
    systemctl stop mistwright
}

advice_follows() {
    claim 'a room'\''s temperature is there' within 30 number_is -room-01/air/temperature 16.2
    claim 'advice is given, and is valid for a while' within 20 advises room-01
    claim 'advice is given in the last room too' within 20 advises room-20
    room_says room-01 '{"t":17.4,"rh":88,"co2":900}'
    claim 'the topics follow the sensors' within 25 number_is -room-01/air/temperature 17.4
    claim 'what the air lacks is there' within 10 number_is_above -room-01/moisture/vapour-needed 0
    claim 'metrics are served' within 10 metrics_say '^mistwright_room_temperature_celsius{room="room-01"} 17.4'
    claim 'the process measures itself' within 10 metrics_say '^process_resident_memory_bytes [1-9]'
}

last_sign() { property WatchdogTimestampMonotonic; }
sign_is_later_than() { (($(last_sign) > $1)); }

watchdog_is_fed() {
    claim 'the watchdog waits for a sign every half minute' test "$(property WatchdogUSec)" = 30s
    local sign
    sign=$(last_sign)
    claim 'a sign of life comes in time' within 15 sign_is_later_than "$sign"
    sign=$(last_sign)
    claim 'and the next' within 15 sign_is_later_than "$sign"
    claim 'systemctl status tells how it is' status_says 'sensors fresh; broker connected'
}

is_another_process() { active && [[ $(process) != "$1" ]]; }
state_is() { within "$1" stands '/$state' "$2"; }

outages_are_survived() {
    local before
    before=$(process)
    systemctl stop mosquitto
    # What the broker kept is lost with it.
    rm -f /var/lib/mosquitto/mosquitto.db
    sleep 40
    claim 'a broker that is away for longer than the watchdog waits does no harm' test "$(process)" = "$before"
    claim 'systemctl status says that it is away' status_says 'broker away'
    systemctl start mosquitto
    claim 'all topics are back within a minute' within 60 number_is -room-20/air/temperature 16.2
    claim 'the last of them too' within 20 advises room-20

    kill -KILL "$before"
    claim 'after a kill it runs again' within 10 is_another_process "$before"
    claim 'and the topics with it' state_is 30 ready

    before=$(process)
    kill -STOP "$before"
    claim 'a hang is noticed by the watchdog' within 60 is_another_process "$before"
    claim 'and is called by its name' within 5 journal --grep 'Watchdog timeout'
    claim 'the topics come back' state_is 30 ready
    local again
    again=$(property NRestarts)
    measured 'starts after the kill and the hang' "$again"
    claim 'it was started anew twice, not more often' test "$again" = 2
}

danger_is() { within "$1" stands -room-01/alerts/carbon-dioxide-people "$2"; }

state_is_kept() {
    room_says room-01 '{"t":17.4,"rh":88,"co2":16000}'
    claim 'carbon dioxide above 15,000 ppm is critical' danger_is 25 critical
    # From now on nobody measures it: the danger must not be forgotten.
    room_says room-01 '{"t":17.4,"rh":88}'
    sleep 11
    claim 'the service restarts' systemctl restart mistwright
    claim 'over a restart the danger is remembered' danger_is 30 unknown
    claim 'the state file is the service'\''s alone' \
        test "$(stat -c '%a %U' /var/lib/mistwright/state.json)" = '600 mistwright'
    claim 'its folder is for no others' test "$(stat -c '%a %U' /var/lib/mistwright)" = '750 mistwright'
}

upgraded() {
    local before sum
    echo '# A line of the grower.' >>"$configuration"
    sum=$(sha256sum "$configuration")
    before=$(process)
    claim 'a later version installs without a question' dpkg --install "$later"
    claim 'it runs in the place of the one before' within 15 is_another_process "$before"
    claim 'the configuration is as the grower left it' test "$(sha256sum "$configuration")" = "$sum"
    claim 'the state is kept' danger_is 30 unknown

    before=$(process)
    sed -i 's/^site:/sight:/' "$configuration"
    claim 'an upgrade over a broken configuration goes through' dpkg --install "$later"
    cp "$out" /run/said
    claim 'it says what is wrong' says 'sight' /run/said
    claim 'and the version before goes on running' test "$(process)" = "$before"
    systemctl restart mistwright 2>/dev/null
    claim 'a start with a broken configuration fails' within 10 systemctl --quiet is-failed mistwright
    sleep 5
    claim 'and is not tried again and again' systemctl --quiet is-failed mistwright
    claim 'the journal has the mistake, as an error' \
        of_the_daemon '| any(.PRIORITY == "3" and (.MESSAGE | contains("sight")))' < <(journal)
    sed -i 's/^sight:/site:/' "$configuration"
    claim 'mended, it starts' systemctl start mistwright
    claim 'and remembers' danger_is 30 unknown
    room_says room-01 '{"t":17.4,"rh":88,"co2":700}'
    # It stays until it has been gone for ten minutes.
    claim 'measured again, the danger is known again' danger_is 30 critical
}

# Seconds of processor time, and bytes sent to the disk.
processor() { awk -v hz="$(getconf CLK_TCK)" '{print ($14 + $15) / hz}' "/proc/$(process)/stat"; }
written() { awk '/^write_bytes/ {print $2}' "/proc/$(process)/io"; }
memory() { awk '/^VmRSS/ {print $2}' "/proc/$(process)/status"; }
as_float() { awk "BEGIN {printf \"%.${2:-2}f\", $1}"; }

# What an open page does: listens, and asks for itself whenever it hears of a change. The daemon ends each stream after a while.
a_page() {
    local line
    while exec 5<>/dev/tcp/127.0.0.1/9417; do
        printf 'GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n' >&5
        while read -r line <&5; do
            if [[ $line != *'event: changed'* ]]; then continue; fi
            exec 6<>/dev/tcp/127.0.0.1/9417
            printf 'GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n' >&6
            cat <&6
            exec 6<&-
        done
        exec 5<&-
    done
}

costs_little() {
    local began processor_before written_before seconds
    began=$(date +%s)
    processor_before=$(processor)
    written_before=$(written)
    sleep "${MEASURE_FOR:-60}"
    seconds=$(($(date +%s) - began))
    measured 'idle, twenty rooms at one message each ten seconds, share of one core' \
        "$(as_float "100 * ($(processor) - $processor_before) / $seconds") %"
    # The state is written every three minutes; a shorter look would say nothing.
    if ((seconds >= 180)); then
        measured 'written to the disk in a day' \
            "$(as_float "($(written) - $written_before) / $seconds * 86400 / 1e6") MB (over $seconds s)"
    fi
    measured 'resident memory' "$(memory) KiB"
    began=$(date +%s)
    processor_before=$(processor)
    timeout 40 bash -c "$(declare -f a_page); a_page" >/run/page
    claim 'an open page is told of changes, and asks anew each time' test "$(grep -o 'HTTP/1.1 200' /run/page | wc -l)" -ge 3
    measured 'the same with the page open, share of one core' \
        "$(as_float "100 * ($(processor) - $processor_before) / ($(date +%s) - $began)") %"
    measured 'resident memory with the page open' "$(memory) KiB"
    claim 'resident memory is at most 12 MiB' test "$(memory)" -le 12288
    start_to_first_value
}

# From the broker's answer to the first derived value, with a sensor that speaks all the time.
start_to_first_value() {
    systemctl stop mistwright
    # A line is a message.
    (while printf '{"t":15.5,"rh":91,"co2":650}\n' 2>/dev/null; do sleep 0.05; done) |
        mosquitto_pub -h 127.0.0.1 -u sensors -P "$(</root/sensors-password)" -t farm/room-01 -l &
    local speaking=$! connected derived
    as_grower -R -t homie/5/frosthollow-room-01/air/humidity-ratio -C 1 -W 60 -F %U >/run/derived &
    local heard=$!
    sleep 1
    systemctl start mistwright
    wait "$heard"
    kill "$speaking"
    wait "$speaking" 2>/dev/null
    derived=$(</run/derived)
    connected=$(journal --lines 50 | jq -s 'map(select(.MESSAGE | tostring | startswith("Connected to the broker")))
        | last | .__REALTIME_TIMESTAMP | tonumber / 1e6')
    claim 'the first derived value comes' test -n "$derived" -a -n "$connected"
    measured 'from the broker'\''s answer to the first derived value' "$(as_float "1000 * ($derived - $connected)" 0) ms"
}

stopped_cleanly() {
    claim 'it stops' systemctl stop mistwright
    claim 'in order' test "$(property Result)" = success
    claim 'the broker has its last word' stands '/$state' disconnected
    claim 'advice is withheld' stands -room-01/advice/mode withheld
}

removed_and_purged() {
    claim 'the package can be removed' dpkg --remove mistwright
    claim 'the program is gone' not test -e /usr/bin/mistwright
    claim 'configuration and state stay' test -s "$configuration" -a -s /var/lib/mistwright/state.json
    claim 'installed again, it starts as it was enabled before' dpkg --install "$later"
    claim 'it is active' within 10 active
    claim 'it can be removed while it runs' dpkg --remove mistwright
    claim 'nothing of it runs' not pgrep -x mistwright
    claim 'the package can be purged' dpkg --purge mistwright
    claim 'configuration, password and state are gone' not test -e /etc/mistwright -o -e /var/lib/mistwright
    find / -xdev -path /proc -prune -o -path "$here" -prune -o -path /root -prune -o -name '*mistwright*' -print >/run/left
    claim 'nothing is left' not grep . /run/left
    systemctl daemon-reload
    claim 'nothing has failed' prints_nothing systemctl --failed --no-legend
}

journal_is_free_of_errors() {
    journal >/run/journal
    local own='| map(select(._TRANSPORT == "journal"))' none='if length == 0 then true else error(tostring) end'
    claim 'the daemon writes to the journal itself' of_the_daemon "$own | length > 10" </run/journal
    claim 'each entry has its level, module and place' \
        of_the_daemon "$own | all(.PRIORITY and .TARGET and .CODE_FILE and .CODE_LINE)" </run/journal
    claim 'no error but the broken configuration' \
        of_the_daemon '| map(select(.PRIORITY <= "3" and (.MESSAGE | contains("sight") | not))) | length == 0' </run/journal
    # The sensor of carbon dioxide that falls silent leaves its number out, and the one that speaks all the time may speak
    # faster than an emulated board can listen.
    claim 'no warning but of the broker that was away, the alerts of the farm, and what was left out' of_the_daemon \
        '| map(select(.PRIORITY == "4") | .MESSAGE | select(test("broker|^Frosthollow|^Room|nothing at `/co2`|arrive[d]? faster") | not)) | '"$none" \
        </run/journal
    claim 'systemd has no error about it but the hang and the start with a broken configuration' jq -es \
        'map(select(._PID == "1" and .PRIORITY <= "3") | .MESSAGE | select(test("Watchdog timeout|Failed to start") | not))
        | '"$none" </run/journal
    claim 'no secret stands in the journal' not grep -qF -f /root/mistwright-password /run/journal
}
