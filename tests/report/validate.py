#!/usr/bin/python3
"""validate.py SCHEMA RESULT: the result fits the schema, and each damaged copy of it below does not.

Exit 0: all as it should be; 1: not (says why); 77: python3-jsonschema is not installed."""
import copy, json, sys

try:
    import jsonschema
except ImportError:
    print("python3-jsonschema is not installed")
    sys.exit(77)


def no_constant(word):
    raise ValueError(f"{word} is not JSON")


schema = json.load(open(sys.argv[1], encoding="utf-8"))
result = json.load(open(sys.argv[2], encoding="utf-8"), parse_constant=no_constant)
jsonschema.Draft7Validator.check_schema(schema)
validator = jsonschema.Draft7Validator(schema)
for error in validator.iter_errors(result):
    print(f"{list(error.absolute_path)}: {error.message}")
    sys.exit(1)


def first(items, test):
    return next((item for item in items if test(item)), None)


def valued(doc):
    return first(doc["dimensions"], lambda d: d["verdict"] != "missing")


def missing(doc):
    return first(doc["dimensions"], lambda d: d["verdict"] == "missing")


def rim(doc):
    return first((r for p in doc["photos"] for r in p["rims"]), lambda r: True)


def plan(doc):
    return first(doc["advice"], lambda a: "predicted_U_mm" in a)


def by_hand(doc):
    return first(doc["advice"], lambda a: a["code"] == "by-hand")


def photo(doc):
    return doc["photos"][0]


# What is damaged, which part, and how. A part that the result does not have is passed over and said.
DAMAGE = [
    ("another schema", lambda d: d, lambda x: x.update(schema="pinspan.measurement/2")),
    ("no program", lambda d: d, lambda x: x.pop("program")),
    ("unknown side", lambda d: d, lambda x: x.update(side="left")),
    ("no photos", lambda d: d, lambda x: x.pop("photos")),
    ("a plan without its bands", plan, lambda x: x.pop("predicted_U_mm")),
    ("a plan's photo from nowhere", plan, lambda x: x["photos"][0].update({"from": "behind"})),
    ("left to the instrument, but what", by_hand, lambda x: x.pop("dimensions")),
    ("no fit", lambda d: d, lambda x: x.pop("fit")),
    ("a dimension of the five gone", lambda d: d, lambda x: x["dimensions"].pop(0)),
    ("all of the other side's names", lambda d: d, lambda x: x.update(side="machine" if x["side"] == "attachment" else "attachment")),
    ("a value without u", valued, lambda x: x.update(u_mm=None)),
    ("u of zero", valued, lambda x: x.update(u_mm=0)),
    ("U below zero", valued, lambda x: x.update(U_mm=-0.2)),
    ("a value as text", valued, lambda x: x.update(value_mm="64.9")),
    ("a verdict of another word", valued, lambda x: x.update(verdict="ok")),
    ("good and to be confirmed", valued, lambda x: x.update(verdict="good", confirm_with="tape")),
    ("confirm without an instrument", valued, lambda x: x.update(verdict="confirm", confirm_with=None)),
    ("a dimension without reasons", valued, lambda x: x.pop("reasons")),
    ("a dimension named by a letter", valued, lambda x: x.update(name="A")),
    ("missing with a value", missing, lambda x: x.update(value_mm=1.0)),
    ("missing with a band", missing, lambda x: x.update(U_mm=1.0)),
    ("an unknown edge", rim, lambda x: x.update(edge="hub")),
    ("an ellipse without b", rim, lambda x: x["ellipse"].pop("b")),
    ("an arc above 1", rim, lambda x: x.update(arc=1.2)),
    ("a photo without problems", photo, lambda x: x.pop("problems")),
    ("a camera from nowhere", photo, lambda x: x["camera"].update(source="guess")),
    ("usable as text", photo, lambda x: x.update(usable="yes")),
]

bad = 0
for what, part, damage in DAMAGE:
    doc = copy.deepcopy(result)
    target = part(doc)
    if target is None:
        print(f"passed over, nothing to damage: {what}")
        continue
    damage(target)
    if validator.is_valid(doc):
        print(f"accepted although wrong: {what}")
        bad += 1
sys.exit(1 if bad else 0)
