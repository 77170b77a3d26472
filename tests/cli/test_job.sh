#!/bin/sh
# pinspan job: a new file, a job without photos, broken files (one line with the place), the record's digests and bytes.
# shellcheck source=tests/cli/helper.sh
. "$(dirname "$0")/helper.sh"
grey_photo a.jpg
grey_photo b.jpg

refused "no job file given" job
refused "no job file given" job -o out.d
refused "-o DIR is missing" job job.json
refused "-o wants the name" job job.json -o ""
refused "one job file, but 2" job one.json two.json -o out.d
refused "--threads" job job.json -o out.d --threads 0
refused "stands alone" job --new job.json other.json
refused "stands alone" job --new job.json --inch
refused "--paper is a4 or letter, not 'a5'" job job.json -o out.d --paper a5
refused "named like a photo" job --new job.jpg
refused "--foo" job --foo

# A new file; never over an existing one; with one value put in it is a job.
run 0 job --new job.json
run 1 job --new job.json
has err "job.json"
run 3 job job.json -o out.d
has err "neither photos nor readings"
[ -e out.d ] && complain "a folder was made for a job that could not be read"
sed '0,/"value": null/s//"value": 64.9/' job.json >one.json
run 0 job one.json -o out.d
has out "Not ready"
has out "attachment.dipper.gap"
[ -s out.d/job-record.json ] || complain "no record"
[ -s out.d/job-decisions.csv ] || complain "no CSV"
pdfinfo out.d/job-report.pdf | grep -q "(A4)" || complain "no report on A4"
run 0 job one.json -o out.l --paper letter --inch
pdfinfo out.l/job-report.pdf | grep -q "(letter)" || complain "no report on US Letter"
pdftotext -raw out.l/job-report.pdf report.txt
has report.txt "attachment.dipper.gap"
has out " in"
[ "$(wc -l <out.d/job-decisions.csv)" -eq 11 ] || complain "the CSV has not 11 lines"

# broken TEXT FILE-CONTENTS: exit 3, one line that starts with the file's name and has TEXT in it.
broken() {
    printf '%s' "$2" >bad.json
    run 3 job bad.json -o out.d
    [ "$(wc -l <err)" -eq 1 ] || complain "not one line: $(cat err)"
    has err "bad.json: $1"
}
head='{ "schema": "pinspan.job/1",
'
broken "line 1: no JSON" ''
broken "line 2: no JSON" "$head"
broken "line 2: sides.machine.photos[1]: 'c.jpg': No such file" "$head"'"sides": {"machine": {"photos": ["a.jpg", "c.jpg"]}}}'
broken "line 2: sides.machine.photos[1]: './a.jpg' was given before" "$head"'"sides": {"machine": {"photos": ["a.jpg", "./a.jpg"]}}}'
broken "line 3: sides.machine.serial_photo: '.' is not a regular file" "$head"'"sides": {"machine": {"photos": ["a.jpg"],
"serial_photo": "."}}}'
broken "line 2: sides.attachment.camera: 'phone.json': No such file" "$head"'"sides": {"attachment": {"camera": "phone.json"}}}'
broken "line 3: form[1].value: 1000000 mm cannot be" "$head"'"form": [{"dimension": "machine.centres", "value": 400},
{"dimension": "machine.link.pin", "value": 1000000}]}'
broken "line 2: form[0].wey: is no key" "$head"'"form": [{"dimension": "machine.centres", "wey": 400}]}'
run 3 job none.json -o out.d
has err "none.json: cannot be opened"
run 3 job . -o out.d
has err "is a directory"

# A copy of a photo, also on the other side.
cp a.jpg a-copy.jpg
printf '%s' "$head"'"sides": {"machine": {"photos": ["a.jpg"]}, "attachment": {"photos": ["b.jpg", "a-copy.jpg"]}}}' >bad.json
run 3 job bad.json -o out.d
has err "bad.json: 'a.jpg' is a copy of 'a-copy.jpg'; each photo counts once"

# A profile that is none is told with its name.
printf '{}' >phone.json
printf '%s' "$head"'"sides": {"attachment": {"photos": ["a.jpg"], "camera": "phone.json"}}}' >bad.json
run 3 job bad.json -o out.d
has err "'phone.json' is no camera profile"

# Photos that show nothing: the rest goes on. Digests as sha256sum has them; the same bytes again, elsewhere, with other threads.
cat >grey.json <<'JSON'
{ "schema": "pinspan.job/1", "title": "two\tlines\u001b[31m", "invented": true,
  "sides": { "attachment": { "photos": ["a.jpg", "b.jpg"], "serial_photo": "b.jpg" } },
  "form": [ { "dimension": "attachment.dipper.pin", "value": "2 9/16 in", "instrument": "calipers" } ] }
JSON
run 0 job grey.json -o out.d
has err "attachment side"
for file in a.jpg b.jpg grey.json; do
    has out.d/job-record.json "$(sha256sum "$file" | cut -d' ' -f1)"
done
hasnt out "$(printf '\033')"
mkdir elsewhere
cp a.jpg b.jpg grey.json elsewhere
(cd elsewhere && "$program" job grey.json -o out.e --threads 1 >/dev/null 2>&1) || complain "elsewhere"
cmp -s out.d/job-record.json elsewhere/out.e/job-record.json || complain "the record differs elsewhere"
cmp -s out.d/job-decisions.csv elsewhere/out.e/job-decisions.csv || complain "the CSV differs elsewhere"
cmp -s out.d/job-report.pdf elsewhere/out.e/job-report.pdf || complain "the report differs elsewhere"
printf x >>elsewhere/b.jpg
(cd elsewhere && "$program" job grey.json -o out.e >/dev/null 2>&1) || complain "elsewhere, another photo"
cmp -s out.d/job-record.json elsewhere/out.e/job-record.json && complain "another photo, and the same record"

# A folder that cannot be made or written.
run 1 job grey.json -o a.jpg
has err "is no folder"
run 1 job grey.json -o none/none
mkdir -p out.f/job-record.json
run 1 job grey.json -o out.f
has err "job-record.json"
mkdir -p out.g/job-report.pdf
run 1 job grey.json -o out.g
has err "job-report.pdf"

# Schemas of job and record.
if /usr/bin/python3 -c 'import jsonschema' 2>/dev/null; then
    /usr/bin/python3 "$source/tests/forms/validate_job.py" "$source/docs" grey.json out.d/job-record.json || complain "schema"
fi
finish
