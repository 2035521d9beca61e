#!/usr/bin/env bash
# Kills the daemon a thousand times (or as often as the first argument says) at any moment, and says what it left.
# About ten minutes. The everyday tests do the same fifty times.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
export PATH="$PATH:/usr/sbin:/usr/local/sbin"
MISTWRIGHT_KILLS=${1:-1000} cargo test --locked --test all -- --exact --nocapture \
    store::daemon::fifty_kills_of_the_daemon_at_any_moment_lose_nothing_that_was_kept
