#!/bin/bash
# Runs the simulation of forms and writes docs/forms-accuracy.md from what comes out: forms.sh [BUILD FOLDER [FORMS [SEED]]].
# The figures depend on forms and seed only. Two minutes or so of one core.
[ -n "${BASH_VERSION:-}" ] || exec bash "$0" "$@"
set -eu -o pipefail
cd "$(dirname "$0")/../.."
. tests/bench/page.sh
build=${1:-build} forms=${2:-10000} seed=${3:-1}
page_build "$build" bench_forms
page_start tests/bench/forms.head.md
nice -n 10 "$build/bench_forms" "$forms" "$seed" >>"$page"
page_keep docs/forms-accuracy.md
