#!/bin/sh
# The kit is written whole or not at all, on either paper.
# shellcheck source=tests/cli/helper.sh
. "$(dirname "$0")/helper.sh"

run 0 print
has out "kit.pdf written"
[ "$(head -c 5 kit.pdf)" = "%PDF-" ] || complain "kit.pdf is no PDF"
run 0 print --paper letter -o letter.pdf
cmp -s kit.pdf letter.pdf && complain "letter and A4 are the same file"
run 0 print --paper a4 --output again.pdf
if command -v pdfinfo >/dev/null; then
    # 297 and 279.4 mm high in points of 1/72 inch.
    pdfinfo kit.pdf >info
    grep -Eq 'Page size: +595\.[0-9]+ x 841\.[0-9]+' info || complain "not A4: $(cat info)"
    pdfinfo letter.pdf >info
    grep -Eq 'Page size: +612(\.[0-9]+)? x 792' info || complain "not US Letter: $(cat info)"
else
    echo "skipped: no pdfinfo to read the page size"
fi
run 1 print -o none/kit.pdf
has err "none/kit.pdf"
[ "$(wc -l <err)" -eq 1 ] || complain "not one line: $(cat err)"
[ "$(find . -name '*.pdf' | wc -l)" -eq 3 ] || complain "other files appeared: $(ls)"
finish
