#!/bin/sh
# Every path of the project that the docs name exists. A path is `in backquotes` and starts with a folder or is a
# top-level file with an extension; <room>-like placeholders, stars and what a build makes are left out.
cd "$2" || exit 1
missing=$(
    for page in ./*.md docs/*.md testimages/*.md calib/*.md; do
        [ -f "$page" ] || continue
        grep -o '`[^` ]*`' "$page" | tr -d '`' |
            grep -E '^(\.ci|calib|cmake|docs|include|src|testimages|tests)(/|$)|^[A-Za-z.-]+\.(md|txt)$|^\.clang-format$' |
            grep -v '[<>*{…]' | sed 's/:[0-9]*$//' | sort -u |
            while read -r path; do [ -e "$path" ] || [ -e "$(dirname "$page")/$path" ] || echo "$page names $path"; done
        # and links to files: [text](path)
        grep -o '](\([^)# ]*\)' "$page" | sed 's/^](//' | grep -v '^[a-z]*:' | grep -v '^$' | sort -u |
            while read -r path; do [ -e "$(dirname "$page")/$path" ] || echo "$page links to $path"; done
    done
)
[ -z "$missing" ] || { echo "$missing"; exit 1; }
