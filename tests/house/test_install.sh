#!/bin/sh
# The installed package serves a program outside: through find_package and through pkg-config.
build=$(dirname "$1") root=$2
there=$(mktemp -d) || exit 1
trap 'rm -rf "$there"' EXIT
version=$(head -n 1 "$root/VERSION")
fail() { echo "$1"; exit 1; }

cmake --install "$build" --prefix "$there/usr" >"$there/log" 2>&1 || { cat "$there/log"; fail "install"; }
for schema in measurement job record; do
    [ -s "$there/usr/share/pinspan/$schema.schema.json" ] || fail "no $schema.schema.json"
done
cp -r "$root/tests/house/consumer" "$there/consumer"

export CMAKE_GENERATOR=Ninja # what the project is built with; a machine may have no other
cmake -S "$there/consumer" -B "$there/b" -DCMAKE_PREFIX_PATH="$there/usr" -DWANTED="$version" >"$there/log" 2>&1 &&
    cmake --build "$there/b" >"$there/log" 2>&1 || { cat "$there/log"; fail "find_package"; }
[ "$("$there/b/consumer")" = "$version" ] || fail "find_package: wrong version printed"
if cmake -S "$there/consumer" -B "$there/b99" -DCMAKE_PREFIX_PATH="$there/usr" -DWANTED=99 >/dev/null 2>&1; then
    fail "find_package took version 99"
fi

pc=$(find "$there/usr" -name pinspan.pc)
[ -n "$pc" ] || fail "no pinspan.pc"
export PKG_CONFIG_PATH="${pc%/pinspan.pc}"
[ "$(pkg-config --modversion pinspan)" = "$version" ] || fail "pkg-config: wrong version"
flags=$(pkg-config --cflags --static --libs pinspan) || fail "pkg-config --static"
# shellcheck disable=SC2086
"${CC:-cc}" -std=c11 -o "$there/by-pc" "$there/consumer/main.c" $flags || fail "pkg-config: link"
[ "$(LD_LIBRARY_PATH=${PKG_CONFIG_PATH%/pkgconfig} "$there/by-pc")" = "$version" ] || fail "pkg-config: wrong version printed"
