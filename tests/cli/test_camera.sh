#!/bin/sh
# Camera profiles on the command line: files that are none, photos that tell nothing, the example that is shipped.
# shellcheck source=tests/cli/helper.sh
. "$(dirname "$0")/helper.sh"
grey_photo a.jpg
grey_photo b.jpg
printf 'not a photo' >text.jpg
example=$source/calib/phone-a-1600x1200.json

# one_line TEXT: exactly one line on standard error, with TEXT in it, and nothing on standard output.
one_line() {
    [ -s out ] && complain "wrote to standard output: $(cat out)"
    [ "$(wc -l <err)" -eq 1 ] || complain "not one line: $(cat err)"
    has err "$1"
}

# Photos that tell nothing, or cannot be read; no profile is written.
run 4 camera a.jpg b.jpg -o profile.json
has err "at least 4"
run 3 camera text.jpg none.jpg -o profile.json
has err "text.jpg: "
has err "none.jpg: "
has err "no photo could be read"
[ -e profile.json ] && complain "a profile was written"

# The shipped example can be read: only the photo is to blame then.
run 4 measure --camera "$example" a.jpg
hasnt err "$example"

# What is no profile: 3, one line that names it, and no result.
for wrong in none.json text.jpg a.jpg . empty; do
    [ "$wrong" = empty ] && : >empty
    run 3 measure --camera "$wrong" --json result.json a.jpg
    one_line "pinspan: $wrong: "
done
change() {
    sed "$1" "$example" >wrong.json
    cmp -s wrong.json "$example" && complain "'$1' changes nothing"
    run 3 measure --camera wrong.json --json result.json a.jpg
    one_line "pinspan: wrong.json: "
    has err "$2"
}
change 's/pinspan.camera\/1/pinspan.camera\/9/' "schema"
change 's/"width": 1600/"width": 0/' "no photo is 0"
change 's/"width": 1600/"width": -1/' "width"
change '0,/"f_px": [0-9.]*/s//"f_px": -1251.9/' "focal length"
change '0,/"f_px": [0-9.]*/s//"f_px": NaN/' "no JSON"
change '0,/"k1": [0-9.]*/s//"k1": 1e6/' "too large"
change '/"covariance"/,/\]/s/^ *[0-9][0-9.]*,$/-1,/' "variance of f_px"
change 's/"covariance"/"variance"/' "covariance"
change '$d' "no JSON"
[ -e result.json ] && complain "a result was written"
finish
