# For the benchmarks that write a page of docs, to be sourced by bash in the project's folder: page_build BUILD TARGET builds one,
# page_start HEAD begins a page in "$page" with words that stand in a file, page_keep NAME puts it in its place.
page_build() {
    [ -f "$1/CMakeCache.txt" ] || cmake --preset release >&2
    cmake --build "$1" --target "$2" >&2
}

page_start() {
    page=$(mktemp)
    trap 'rm -f "$page"' EXIT
    cat "$1" >"$page"
}

page_keep() {
    sed -i -e :a -e '/^\n*$/{$d;N;ba' -e '}' "$page" # no empty lines at the end
    cp "$page" "$1"
}
