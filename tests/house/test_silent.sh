#!/bin/sh
# The library never prints, exits or asks the environment: only src/cli does.
root=$2
telling='getenv\(|(^|[^a-z_])(printf|puts|perror|exit|abort)\(|fprintf\((stderr|stdout)|std::(cout|cerr)'
loud() {
    grep -rnE "$telling" "$1" --include='*.c' --include='*.cpp' --include='*.h' --include='*.hpp' | grep -v '/src/cli/'
}
status=0
if loud "$root/src"; then
    status=1
fi
# The check itself: a print left in is found.
place=$(mktemp -d)
echo 'static void f(void) { if (getenv("X")) fprintf(stderr, "left"); }' >"$place/left.c"
if ! loud "$place" >/dev/null; then
    echo "a print went through"
    status=1
fi
rm -r "$place"
exit $status
