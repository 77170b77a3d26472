#!/bin/bash
# Runs the coverage bench and writes docs/accuracy.md from what comes out: accuracy.sh [BUILD FOLDER [JOBS [SEED]]].
# The figures depend on jobs and seed only, neither on the machine nor on its number of cores. Five to fifteen minutes of one core.
[ -n "${BASH_VERSION:-}" ] || exec bash "$0" "$@"
set -eu -o pipefail
cd "$(dirname "$0")/../.."
. tests/bench/page.sh
build=${1:-build} jobs=${2:-2000} seed=${3:-1}
page_build "$build" bench_coverage
page_start tests/bench/accuracy.head.md
nice -n 10 "$build/bench_coverage" "$jobs" "$seed" 2 >>"$page"
page_keep docs/accuracy.md
