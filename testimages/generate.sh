#!/bin/sh
# Makes one job of test photos with exact truth: generate.sh RECIPE SEED OUTDIR [options of generator/make.py]
# RECIPE is a file, or the name of one in generator/recipes. Needs Debian's povray, python3-numpy, python3-pil,
# a C compiler and libapriltag. The same recipe and seed give the same scene, cameras and truth.
set -eu
if [ $# -lt 3 ]; then
    sed -n 2,4p "$0" >&2
    exit 2
fi
here=$(cd "$(dirname "$0")" && pwd)
recipe=$1 seed=$2 outdir=$3
shift 3
[ -f "$recipe" ] || recipe=$here/generator/recipes/$recipe.json
tool=$(mktemp -d)
trap 'rm -rf "$tool"' EXIT INT TERM
${CC:-cc} -std=c11 -O1 -o "$tool/tagbits" "$here/generator/tagbits.c" -lapriltag
PYTHONDONTWRITEBYTECODE=1 nice -n 10 "${PYTHON:-/usr/bin/python3}" "$here/generator/make.py" "$recipe" "$seed" "$outdir" --tagbits "$tool/tagbits" "$@"
