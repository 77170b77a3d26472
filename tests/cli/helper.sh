# Sourced by the scripts beside it: $program, $source, a scratch folder to work in, and counting checks.
# shellcheck shell=sh
program=$1
# shellcheck disable=SC2034 # the scripts use it
source=$2
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT INT TERM
cd "$scratch" || exit 1
failures=0

complain() {
    echo "FAILED: $*"
    failures=$((failures + 1))
}

# run STATUS ARGUMENT...: runs the program, keeps out and err, checks the exit status.
run() {
    wanted=$1
    shift
    "$program" "$@" >out 2>err </dev/null
    got=$?
    [ "$got" -eq "$wanted" ] || complain "pinspan $*: exit $got, wanted $wanted; it said: $(cat err)"
}

# refused TEXT ARGUMENT...: wrong use, exit 2, nothing on standard output, one line on standard error that starts with the
# program's name and has TEXT in it.
refused() {
    text=$1
    shift
    run 2 "$@"
    [ -s out ] && complain "pinspan $*: wrote to standard output"
    [ "$(wc -l <err)" -eq 1 ] || complain "pinspan $*: not one line: $(cat err)"
    case $(cat err) in
    "pinspan: "*"$text"*) ;;
    *) complain "pinspan $*: '$text' not in: $(cat err)" ;;
    esac
}

has() {
    grep -qF -e "$2" "$1" || complain "'$2' not in $1: $(head -c 2000 "$1")"
}

hasnt() {
    if grep -qF -e "$2" "$1"; then complain "'$2' in $1"; fi
}

# A grey photo of 64 x 48 pixels with nothing in it; each name its own file.
grey_photo() {
    base64 -d >"$1" <<'EOF'
/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDAA0JCgsKCA0LCgsODg0PEyAVExISEyccHhcgLikxMC4pLSwzOko+MzZGNywtQFdBRkxO
UlNSMj5aYVpQYEpRUk//wAALCAAwAEABAREA/8QAFQABAQAAAAAAAAAAAAAAAAAAAAH/xAAUEAEAAAAAAAAAAAAAAAAAAAAA/9oA
CAEBAAA/AIAAAAAAAAAAAAAAAD//2Q==
EOF
    printf '%s' "$1" >>"$1" # behind the picture's end, so that no two are copies
}

finish() {
    [ "$failures" -eq 0 ] && exit 0
    echo "$failures failed"
    exit 1
}
