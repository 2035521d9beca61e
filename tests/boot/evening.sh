#!/usr/bin/env bash
# Runs the README's first evening as it stands there, on a system that has just booted: evening.sh README PACKAGE. The only
# difference is the package's architecture. Then judges what came of it.
set -uo pipefail
cd "$(mktemp -d)" || exit 1
cp "$2" .
architecture=$(dpkg --print-architecture)
sed -n '/^## The first evening$/,/^## Point/p' "$1" | sed -n '/^```sh$/,/^```$/{/^```/d;p}' |
    sed "s/_arm64\.deb/_$architecture.deb/" >commands

passed=0 failed=0
claim() {
    local sentence=$1
    shift
    if "$@"; then passed=$((passed + 1)) && echo "ok        $sentence"; else failed=$((failed + 1)) && echo "FAIL      $sentence"; fi
}

claim 'the README has an evening' test "$(wc -l <commands)" -ge 10
while IFS= read -r line; do
    # Nobody types faster.
    sleep 1
    yes 2>/dev/null | bash -c "$line" >said 2>&1
    claim "$line" test "${PIPESTATUS[1]}" = 0
    sed 's/^/          /' said
    case $line in
        *apt\ install*) claim 'installing says how it goes on' grep -q 'mistwright check' said ;;
        *reason*) claim 'the first advice is a sentence' grep -q '[a-z ]*\.$' said ;;
        *decision*) claim 'and has numbers' jq -e '.mode != "withheld" and ."fresh-air" > 0' said ;;
    esac
done <commands
claim 'the daemon runs' systemctl --quiet is-active mistwright
printf '\n%d passed, %d failed\n' "$passed" "$failed"
((failed == 0))
