#!/usr/bin/env bash
# Whether the tests hold the hard limits of the advice: removes each limit of tests/limits.txt in turn, in a copy of the tree,
# runs the tests of the engine there, and prints which of them catches it. Fails where a limit can be removed unnoticed, and
# where the text to remove is no longer found. Takes about a minute for each.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

# Modules of tests/engine that hold the limits.
modules=(limits protect inputs)
list=tests/limits.txt
# A limit that is gone is met within a few cases, and what was met need not be made small.
export PROPTEST_CASES=16 PROPTEST_MAX_SHRINK_ITERS=16
# A folder of its own: what is built without a limit must never be taken for the program. Every limit costs two crates and the
# tests, the first build the dependencies.
export CARGO_TARGET_DIR=$PWD/target/mutations
copy=$(mktemp -d)
trap 'rm -rf "$copy"' EXIT
git ls-files -z --cached --others --exclude-standard | tar --null --files-from=- --create --file=- | tar --extract --directory "$copy"

# Puts the third line of an entry in the place of its second, where that stands exactly once.
replace() {
    python3 - "$@" <<'PYTHON'
import sys
path, old, new = sys.argv[1], *(text.replace("\\n", "\n") for text in sys.argv[2:])
source = open(path, encoding="utf-8").read()
if source.count(old) != 1:
    sys.exit(f"{path}: the text stands there {source.count(old)} times: {old!r}")
open(path, "w", encoding="utf-8").write(source.replace(old, new))
PYTHON
}

run() {
    (cd "$copy" && cargo test --quiet --locked --test all 2>&1 </dev/null)
}

# These modules alone make a smaller crate.
printf '#![allow(clippy::unwrap_used, unused)]\nmod engine {\n    pub mod harness;\n' >"$copy/tests/main.rs"
printf '    mod %s;\n' "${modules[@]}" >>"$copy/tests/main.rs"
echo '}' >>"$copy/tests/main.rs"

# Without a change, all must pass: a test that always fails catches nothing.
if ! run >"$copy/log"; then
    tail -40 "$copy/log"
    echo 'the tests fail without any change' >&2
    exit 1
fi

survived=0
printf '%-88s %s\n' 'limit removed' 'caught by'
while IFS= read -r limit; do
    if [[ $limit == '#'* || -z $limit ]]; then continue; fi
    IFS= read -r file && IFS= read -r old && IFS= read -r new
    replace "$copy/$file" "$old" "$new"
    status=0
    run >"$copy/log" || status=$?
    caught=$(sed -n 's/^    \(engine::.*\)$/\1/p' "$copy/log" | sort -u | sed 's/^engine:://' | paste -sd ' ')
    if ((status == 0)) || [[ -z $caught ]]; then
        survived=$((survived + 1))
        caught='NOTHING'
        if grep -q '^error' "$copy/log" && ! grep -q 'test result' "$copy/log"; then caught='NOTHING: it does not compile'; fi
    fi
    printf '%-88s %s\n' "$limit" "$caught"
    cp "$file" "$copy/$file"
done <"$list"

if ((survived)); then
    printf '%d limits can be removed unnoticed\n' "$survived" >&2
    exit 1
fi
echo 'every limit is held by a test'
