#!/bin/sh
# Photos that cannot be read or have nothing in them: exit status, one line each, JSON all the same.
# shellcheck source=tests/cli/helper.sh
. "$(dirname "$0")/helper.sh"
grey_photo grey.jpg
printf 'not a photo' >text.jpg
: >empty.jpg
head -c 120 grey.jpg >cut.jpg
mkdir folder.jpg

# The distribution's Python first: that is where its package python3-jsonschema goes.
python=/usr/bin/python3
[ -x "$python" ] || python=python3

# valid FILE: is JSON of our schema; where that cannot be checked it is said, and the rest of this script still counts.
valid() {
    if ! command -v "$python" >/dev/null; then
        echo "skipped: no python3 to read the JSON"
        return
    fi
    "$python" "$source/tests/report/validate.py" "$source/docs/measurement.schema.json" "$1" >why 2>&1
    case $? in
    0) ;;
    77) echo "skipped the schema: $(cat why)" ;;
    *) complain "$1 does not fit the schema: $(cat why)" ;;
    esac
}

# None can be read: 3.
run 3 measure --json - none.jpg text.jpg empty.jpg cut.jpg folder.jpg
cp out result.json
for name in none text empty cut folder; do
    [ "$(grep -c "^pinspan: $name.jpg: " err)" -eq 1 ] || complain "not one line about $name.jpg: $(cat err)"
    has result.json "\"$name.jpg\""
done
valid result.json
hasnt result.json NaN

# One can be read and has nothing in it: 4, and the JSON is still written, in a file as on standard output.
run 4 measure --json - none.jpg grey.jpg
cp out result.json
valid result.json
has result.json '"no-piece"'
[ "$(grep -c '^pinspan: none.jpg: ' err)" -eq 1 ] || complain "not one line about none.jpg: $(cat err)"
run 4 measure --json file.json none.jpg grey.jpg
cmp -s file.json result.json || complain "the file and standard output differ"
has out "missing" # the table

# The same bytes for any number of threads, and after --.
run 4 measure --threads 1 --json - -- none.jpg grey.jpg
cmp -s out result.json || complain "one thread gives other bytes"
cp grey.jpg ./--side
run 4 measure --json - -- --side
has out '"--side"'

# A reading of a piece that no photo shows is said to be idle, in one line; one for all, or of a piece that is there, is not.
piece=$(sed -n 's/.*"name": "\(\(plate\|patch\|mini\)-[0-9]\)".*/\1/p' "$source/testimages/small/truth.json" | head -n 1)
run 0 measure --print-check along=200 --print-check "$piece:across=140" --print-check plate-2:across=139.5 --json idle.json "$source/testimages/small/photo-1.jpg"
[ "$(grep -c -- '--print-check' err)" -eq 1 ] || complain "not one line about the idle reading: $(cat err)"
has err "plate-2:across=139.5: no photo shows that piece"
valid idle.json
has idle.json '"along_read": true'

# The side and its five names.
run 4 measure --side machine --json - grey.jpg
for name in dipper.gap link.gap dipper.pin link.pin centres; do has out "\"machine.$name\""; done
cp out machine.json
valid machine.json

# Lengths with units are taken.
run 4 measure --print-check across=139.6mm,0.1mm --print-check plate-1:along=7.85in --standoff dipper=-3 --standoff link=0.5in,0.1in grey.jpg

# A JSON file that cannot be written is told, and leaves nothing behind.
run 4 measure --json none/result.json grey.jpg
has err "none/result.json: cannot write"
run 4 measure --json folder.jpg.d --pictures grey.jpg cut.jpg grey.jpg
has err "grey.jpg: cannot make this folder"
find . -name '*.part-*' | grep -q . && complain "a part was left behind"
finish
