#!/usr/bin/env bash
# A million inputs for every decoder of sensors' payloads; another count may be given. Minutes, not seconds.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
DECODER_CASES="${1:-1000000}" cargo test --release --locked --test all -- decoders::
