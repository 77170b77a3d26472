#!/bin/bash
# Runs the rim benchmark and writes docs/rims.md: rims.sh [BUILD FOLDER [OUTPUT]].
# PINSPAN_BENCH_CACHE  where the made photos are kept (default: bench-rims in the build folder). What is missing is rendered:
#                      20 scenes of three or four photos, an hour or two of one core the first time, 150 MB at most.
# PINSPAN_PHOTOS       a folder with job folders (photos and truth.json each) made by others: a second table.
# PINSPAN_BENCH_SEED   first seed of the scenes (default 10001), to have quite fresh ones. Seeds from 1001 to 9920 were used in development.
[ -n "${BASH_VERSION:-}" ] || exec bash "$0" "$@"
set -eu -o pipefail
cd "$(dirname "$0")/../.."
. tests/bench/page.sh
build=${1:-build} output=${2:-docs/rims.md} seed=${PINSPAN_BENCH_SEED:-10001}
cache=${PINSPAN_BENCH_CACHE:-$build/bench-rims}
page_build "$build" bench_rims

folders=()
for category in clean clean two two wide wide uneven uneven uneven small small dirty dirty dirty edges edges edges edges chat chat; do
    folder=$cache/$category-$seed
    if [ ! -f "$folder/truth.json" ]; then
        mkdir -p "$folder"
        PYTHONDONTWRITEBYTECODE=1 "${PYTHON:-/usr/bin/python3}" testimages/generator/draw.py "$category" "$seed" "$folder/recipe.json" 1600
        echo "rendering $folder" >&2
        nice -n 15 sh testimages/generate.sh "$folder/recipe.json" "$seed" "$folder" --fast >&2
    fi
    folders+=("$folder")
    seed=$((seed + 1))
done

page_start tests/bench/rims.head.md
printf '\n## Photos from the own generator, %d scenes\n\n' ${#folders[@]} >>"$page"
nice -n 10 "$build/bench_rims" "${folders[@]}" >>"$page"
if [ -n "${PINSPAN_PHOTOS:-}" ]; then
    others=()
    for truth in "$PINSPAN_PHOTOS"/*/truth.json; do
        others+=("$(dirname "$truth")")
    done
    printf '\n## Photos made by others, %d jobs\n\n' ${#others[@]} >>"$page"
    nice -n 10 "$build/bench_rims" "${others[@]}" >>"$page"
fi
page_keep "$output"
