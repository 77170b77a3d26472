#!/bin/bash
# Installs what is missing of the Debian packages of the given uses: install-packages.sh build [test] [photos]
set -eu -o pipefail
list=$(dirname "$0")/packages.txt
missing=()
for use in "$@"; do
    while read -r name; do
        # A package may be provided by another one (libjpeg-dev): then dpkg knows it under its own name only.
        dpkg-query -W -f='${Status}\n' "$name" 2>/dev/null | grep -q '^install ok installed' || missing+=("$name")
    done < <(awk -v use="$use" '$1 !~ /^#/ && $2 == use { print $1 }' "$list")
done
[ ${#missing[@]} -eq 0 ] && exit 0

as_root=()
if [ "$(id -u)" -ne 0 ]; then
    if ! command -v sudo >/dev/null; then
        echo "These Debian packages are missing; install them as root: ${missing[*]}" >&2
        exit 1
    fi
    as_root=(sudo)
fi
echo "Installing: ${missing[*]}" >&2
export DEBIAN_FRONTEND=noninteractive
"${as_root[@]}" apt-get update -qq
"${as_root[@]}" apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
