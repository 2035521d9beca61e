#!/usr/bin/env bash
# A million inputs for every decoder of sensors' payloads and every reader of forecasts; another count may be given. Minutes, not
# seconds.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
count="${1:-1000000}"
DECODER_CASES="$count" INPUTS="$count" cargo test --release --locked --test all -- --nocapture decoders:: weather::random
