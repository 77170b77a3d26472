#!/bin/bash
# Everything that must hold before a change goes in: installs what is missing, builds with warnings as errors, runs all
# tests (format, headers, paths in the docs and the installed package among them) and once more with sanitizers.
# The last line is 'N passed, N failed', counted by ctest; the exit status is 1 when anything failed.
# Where not a file, package or variable of ours has changed since all of that passed here, it says so and ends; with --anew it runs all the same.
[ -n "${BASH_VERSION:-}" ] || exec bash "$0" "$@"
set -u -o pipefail
cd "$(dirname "$0")/.." || exit 1
bash cmake/install-packages.sh build test || { echo "0 passed, 1 failed"; exit 1; }

# All that the result hangs on, in one number.
fingerprint() {
    {
        find . \( -path ./.git -o -path ./build -o -path './build-*' -o -path ./out \) -prune -o -type f -print0 | LC_ALL=C sort -z | xargs -0 sha256sum
        dpkg-query -W
        env | grep '^PINSPAN_' | LC_ALL=C sort
    } 2>/dev/null | sha256sum
}

kept=build/all-passed
before=$(fingerprint)
if [ "${1:-}" != --anew ] && [ -s "$kept" ] && [ "$(head -n 1 "$kept")" = "$before" ]; then
    echo "Nothing has changed since all tests passed here, $(date -r "$kept" '+%F %T'): not run again (--anew runs them)."
    tail -n 1 "$kept"
    exit 0
fi
rm -f "$kept"

jobs=$(nproc)
passed=0 failed=0 skipped=0

# count FILE: adds the sums that ctest wrote.
count() {
    local tests failures skips
    tests=$(sed -n 's/.*[[:space:]]tests="\([0-9]*\)".*/\1/p' "$1" | head -n 1)
    failures=$(sed -n 's/.*[[:space:]]failures="\([0-9]*\)".*/\1/p' "$1" | head -n 1)
    skips=$(sed -n 's/.*[[:space:]]skipped="\([0-9]*\)".*/\1/p' "$1" | head -n 1)
    passed=$((passed + tests - failures - skips))
    failed=$((failed + failures))
    skipped=$((skipped + skips))
}

# build PRESET FOLDER: quiet about the configuring unless it fails.
build() {
    local log
    log=$(mktemp)
    cmake --preset "$1" -DPINSPAN_WERROR=ON -DPINSPAN_TESTS=ON >"$log" 2>&1 || { cat "$log"; rm -f "$log"; return 1; }
    rm -f "$log"
    cmake --build "$2" -j "$jobs"
}

# run PRESET FOLDER [ctest options]: a build that fails counts as one failed test.
run() {
    local preset=$1 folder=$2 results=$PWD/$2/results.xml status
    shift 2
    echo "== $preset"
    if ! build "$preset" "$folder"; then
        failed=$((failed + 1))
        return
    fi
    rm -f "$results"
    ctest --test-dir "$folder" -j "$jobs" --output-on-failure --no-tests=error --output-junit "$results" "$@"
    status=$?
    if [ -s "$results" ]; then count "$results"; fi
    # A status without a failed test is a failure of the run itself.
    if [ $status -ne 0 ] && [ $failed -eq 0 ]; then failed=1; fi
}

run release build
# The house tests look at sources and docs: once is enough.
run sanitizers build-sanitizers -LE house

line="$passed passed, $failed failed"
if [ $skipped -gt 0 ]; then line="$line, $skipped skipped"; fi
if [ $failed -eq 0 ] && [ $passed -gt 0 ] && [ "$(fingerprint)" = "$before" ]; then printf '%s\n%s\n' "$before" "$line" >"$kept"; fi
echo "$line"
[ $failed -eq 0 ] && [ $passed -gt 0 ]
