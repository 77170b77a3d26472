#!/bin/sh
# All C and C++ sources are as clang-format would write them.
command -v clang-format >/dev/null || { echo "clang-format is not installed"; exit 77; }
cd "$2" || exit 1
bad=$(
    find include src tests testimages \( -name '*.c' -o -name '*.h' -o -name '*.cpp' \) | sort | while read -r file; do
        clang-format "$file" | cmp -s - "$file" || echo "$file"
    done
)
[ -z "$bad" ] || { echo "clang-format would change:"; echo "$bad"; exit 1; }
