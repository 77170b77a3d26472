#!/bin/sh
# Help and version go to standard output; man page and help name the same options.
# shellcheck source=tests/cli/helper.sh
. "$(dirname "$0")/helper.sh"

run 0 --version
[ "$(cat out)" = "pinspan $(head -n 1 "$source/VERSION")" ] || complain "version: $(cat out)"
for command in "" measure print camera job; do
    # shellcheck disable=SC2086
    run 0 $command --help
    [ -s err ] && complain "$command --help wrote to standard error"
    has out "Usage: pinspan"
    awk 'length > 100 { exit 1 }' out || complain "$command --help has lines over 100 columns"
done
run 0 --help
has out "  measure"
has out "  print"
has out "  camera"
has out "  job"

# Options as the help has them, one a line: "--print-check [PIECE:]across=MM[,U]".
options() {
    "$program" "$1" --help | sed -n 's/^  \(-[a-z], \|    \)\(--[a-z-]*\).*/\2/p' | sort -u
}
man=$source/docs/pinspan.1
sed 's/\\-/-/g' "$man" >page
for option in $(options measure) $(options print) $(options camera) $(options job); do
    grep -q -e "^\.B.* *$option\b" page || complain "$option is not in the man page"
done
[ "$(options measure | wc -l)" -ge 12 ] || complain "the help names too few options: $(options measure)"
# And the other way: an option that the man page has is in a help.
grep -o -e '^\.BR* .*--[a-z-]*' page | grep -o -e '--[a-z][a-z-]*' | sort -u >in_page
while read -r option; do
    { options measure && options print && options camera && options job; } | grep -qx -e "$option" || complain "$option is in the man page and in no help"
done <in_page
for word in camera side coupler print-check standoff roles dipper json pictures inch monte-carlo seed threads; do
    options measure | grep -qx -e "--$word" || complain "--$word is not in the help"
done

# A full disk is told.
if [ -e /dev/full ]; then
    "$program" --help >/dev/full 2>err
    [ $? -eq 1 ] || complain "output to a full disk: exit is not 1"
    has err "cannot write"
fi
finish
