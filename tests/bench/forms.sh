#!/bin/bash
# Runs the simulation of forms and writes docs/forms-accuracy.md from what comes out: forms.sh [BUILD FOLDER [FORMS [SEED]]].
# The figures depend on forms and seed only. Two minutes or so of one core.
[ -n "${BASH_VERSION:-}" ] || exec bash "$0" "$@"
set -eu -o pipefail
cd "$(dirname "$0")/../.."
build=${1:-build} forms=${2:-10000} seed=${3:-1}
[ -f "$build/CMakeCache.txt" ] || cmake --preset release >&2
cmake --build "$build" --target bench_forms >&2
page=$(mktemp)
trap 'rm -f "$page"' EXIT
cat tests/bench/forms.head.md >"$page"
nice -n 10 "$build/bench_forms" "$forms" "$seed" >>"$page"
sed -i -e :a -e '/^\n*$/{$d;N;ba' -e '}' "$page"
cp "$page" docs/forms-accuracy.md
