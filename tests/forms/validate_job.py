#!/usr/bin/python3
"""validate_job.py DOCS JOB RECORD: job file and record fit their schemas, the record's measurements theirs, and damaged copies do not.

Exit 0: all as it should be; 1: not (says why); 77: python3-jsonschema is not installed."""
import copy, json, os, sys

try:
    import jsonschema
except ImportError:
    print("python3-jsonschema is not installed")
    sys.exit(77)


def load(path):
    with open(path, encoding="utf-8") as file:
        return json.load(file)


def checker(name):
    schema = load(os.path.join(sys.argv[1], name))
    jsonschema.Draft7Validator.check_schema(schema)
    return jsonschema.Draft7Validator(schema)


bad = 0
job_schema, record_schema, side_schema = checker("job.schema.json"), checker("record.schema.json"), checker("measurement.schema.json")
job, record = load(sys.argv[2]), load(sys.argv[3])
parts = [(job_schema, job), (record_schema, record)]
parts += [(side_schema, s["measurement"]) for s in record["sides"].values() if s["measurement"]]
for validator, document in parts:
    for error in validator.iter_errors(document):
        print(f"{list(error.absolute_path)}: {error.message}")
        bad += 1


def refuse(validator, document, what, damage):
    global bad
    wrong = copy.deepcopy(document)
    damage(wrong)
    if validator.is_valid(wrong):
        print(f"accepted although wrong: {what}")
        bad += 1


refuse(job_schema, job, "an unknown key", lambda d: d.update(titel="x"))
refuse(job_schema, job, "another schema", lambda d: d.update(schema="pinspan.job/2"))
refuse(job_schema, job, "a unit that is none", lambda d: d["form"][0].update(unit="cm"))
refuse(job_schema, job, "a dimension by a letter", lambda d: d["form"][0].update(dimension="A"))
refuse(job_schema, job, "a length that is none", lambda d: d["form"][0].update(value="thick"))
refuse(job_schema, job, "a photo that is a number", lambda d: d["sides"].update(machine={"photos": [1]}))
refuse(record_schema, record, "nine dimensions", lambda d: d["dimensions"].pop())
refuse(record_schema, record, "a digest cut short", lambda d: d["files"][0].update(sha256="ab"))
refuse(record_schema, record, "settled without a value", lambda d: d["dimensions"][0].update(settled=True, value_mm=None))
refuse(record_schema, record, "open without a question", lambda d: d["dimensions"][0].update(settled=False, ask=None))
refuse(record_schema, record, "a probability above 1", lambda d: d["readings"][0]["suspects"].append(
    {"mistake": "x", "probability": 2, "predicted_mm": 1, "u_mm": 1, "inside": True, "named": True, "evidence": "x"}))
sys.exit(1 if bad else 0)
