#!/bin/bash
# Runs the coverage bench and writes docs/accuracy.md from what comes out: accuracy.sh [BUILD FOLDER [JOBS [SEED]]].
# The figures depend on jobs and seed only, neither on the machine nor on its number of cores. Ten minutes or so of one core.
[ -n "${BASH_VERSION:-}" ] || exec bash "$0" "$@"
set -eu -o pipefail
cd "$(dirname "$0")/../.."
build=${1:-build} jobs=${2:-2000} seed=${3:-1}
[ -f "$build/CMakeCache.txt" ] || cmake --preset release >&2
cmake --build "$build" --target bench_coverage >&2
page=$(mktemp)
trap 'rm -f "$page"' EXIT
cat tests/bench/accuracy.head.md >"$page"
nice -n 10 "$build/bench_coverage" "$jobs" "$seed" 2 >>"$page"
sed -i -e :a -e '/^\n*$/{$d;N;ba' -e '}' "$page"
cp "$page" docs/accuracy.md
