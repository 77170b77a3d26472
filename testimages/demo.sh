#!/bin/bash
# From a fresh clone to measured pins: installs what the build needs, builds the release into build/, measures the photo
# set in testimages/demo and writes the result and the marked pictures into out/.
[ -n "${BASH_VERSION:-}" ] || exec bash "$0" "$@"
set -eu -o pipefail
cd "$(dirname "$0")/.."
photos=(testimages/demo/photo-*.jpg)
if [ ! -e "${photos[0]}" ]; then
    echo "No photos in testimages/demo." >&2
    exit 3
fi
bash cmake/install-packages.sh build
log=$(mktemp)
trap 'rm -f "$log"' EXIT
echo "Building into build/ ..." >&2
tests=()
pkg-config --exists cmocka || tests=(-DPINSPAN_TESTS=OFF) # check.sh installs what the tests need, and turns them on
if ! { cmake --preset release ${tests[@]+"${tests[@]}"} && cmake --build build -j "$(nproc)" --target pinspan_program; } >"$log" 2>&1; then
    cat "$log" >&2
    exit 1
fi

# What was read on the sheet's check lines, as options, words split at blanks; lines with # are remarks.
args=()
if [ -f testimages/demo/demo.args ]; then
    while read -r -a words; do args+=(${words[@]+"${words[@]}"}); done < <(grep -v '^[[:space:]]*#' testimages/demo/demo.args; echo)
fi

mkdir -p out
status=0
build/pinspan measure ${args[@]+"${args[@]}"} --json out/demo.json --pictures out "${photos[@]}" || status=$?
echo
echo "Written:"
for file in out/demo.json out/*-marked.jpg; do
    if [ -e "$file" ]; then echo "  $file"; fi
done
exit $status
