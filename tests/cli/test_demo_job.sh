#!/bin/sh
# The demo job: photos of both sides, one mistake planted on its form, which is found, and nothing else accused.
# shellcheck source=tests/cli/helper.sh
. "$(dirname "$0")/helper.sh"
job=$source/testimages/job/job.json
run 0 job "$job" -o out.d
record=out.d/job-record.json
# The planted one: centres read over the outer edges, given as the distance of the centres.
[ "$(grep -c '"named": true' "$record")" -eq 1 ] || complain "not exactly one mistake named"
grep -B6 '"named": true' "$record" | grep -q '"mistake": "outside-outside"' || complain "another mistake named"
has out "attachment.centres: 446.0 mm differs from the photos'"
has out "Not ready: 9 of 10 dimensions are settled, 2 questions to ask."
has out "1. Attachment, gap at the link pin"
has out "2. Please also tell: country."
has out "An invented example"
for file in ../demo/photo-1.jpg machine-3.jpg; do
    has "$record" "$(sha256sum "$source/testimages/job/$file" | cut -d' ' -f1)"
done
# The report: its numbers are those of the table, its pages are of the paper asked for.
has out "383.82 ± 0.50"
pdftotext -raw out.d/job-report.pdf report.txt || complain "no report"
for text in "Not ready: 9 of 10" "383.82 ± 0.50" "446.0 ± 2.2" "differs" "An invented example" "page 1 of" "Signature" "dipper end, photo 3"; do
    has report.txt "$text"
done
pdfinfo out.d/job-report.pdf | grep -q "(A4)" || complain "the report is not on A4"
if /usr/bin/python3 -c 'import jsonschema' 2>/dev/null; then
    /usr/bin/python3 "$source/tests/forms/validate_job.py" "$source/docs" "$job" "$record" || complain "schema"
fi
finish
