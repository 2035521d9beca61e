#!/usr/bin/env bash
# Builds the package for this machine's architecture and has Debian's and systemd's own checkers judge it. The package is
# put into target/debian. Needs lintian, man-db and systemd.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

cargo build --release --locked --bin mistwright
package=$(bash deploy/package.sh target/release/mistwright "$(dpkg --print-architecture)" target/debian)
size=$(stat -c %s target/release/mistwright)
printf '%s: %d bytes; the program in it: %d bytes, %d %% of its budget of 8 MiB\n' \
    "$package" "$(stat -c %s "$package")" "$size" $((100 * size / (8 << 20)))
if ((size > 8 << 20)); then
    # A budget, not a promise: it is looked at, and nothing is held up by it.
    echo 'OVER BUDGET: the program is larger than 8 MiB' >&2
fi

lintian --allow-root --fail-on error --fail-on warning "$package"

systemd-analyze security --offline=yes --threshold=15 deploy/mistwright.service | tail -n 1

# Debian's manual pages are read without a complaint.
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
dpkg-deb --extract "$package" "$work"
pages=("$work"/usr/share/man/man1/*)
for page in "${pages[@]}"; do
    if MANWIDTH=80 man --warnings -E UTF-8 -l -Tutf8 -Z "$page" 2>&1 >/dev/null | grep .; then
        echo "$page: see above" >&2
        exit 1
    fi
done
# Each subcommand has its page, and each is offered by the completions.
for command in $("$work/usr/bin/mistwright" --help | sed -n '/^Commands:/,/^$/s/^  \([a-z]*\) .*/\1/p'); do
    if [[ $command == help ]]; then continue; fi
    test -s "$work/usr/share/man/man1/mistwright-$command.1.gz"
    grep -q "\b$command\b" "$work/usr/share/bash-completion/completions/mistwright"
done
bash -n "$work/usr/share/bash-completion/completions/mistwright"
printf '%d manual pages are good\n' "${#pages[@]}"
