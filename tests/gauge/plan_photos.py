"""plan_photos.py PROGRAM SOURCE: predicted bands against those obtained with photos that had been left out."""
import functools
import glob
import itertools
import json
import subprocess
import sys

# The promise: the band is at most that much wider than predicted. The photo that is added was taken from elsewhere than advised, and its
# rims show as they show: half as many edge points are a factor of 1.4 where noise leads, another direction is some tenths more.
# A prediction that takes the photo for better than it is breaks it; one that forgets the photo breaks the lower bound, which only
# LEAST comparisons have to keep: a photo may bring an edge that none had shown, and with it far more than was predicted.
FACTOR = 1.75
# Folder, photos measured first; what was left out is added in turn, whether it keeps the promise or not, so that there are three. Which rims are
# found is the rim stage's matter: a set without a plan is passed over, but not all of them may be. Some additions break their
# promise, since the reading of the pin's edges becomes doubtful with them; that is counted, and has to be the exception: three
# promises in four are kept.
SETS = [("demo", [3]), ("small", [3]), ("two-pieces", [3]), ("uneven", [1, 4]), ("uneven", [2, 4])]
LEAST = 8
KEPT_SHARE = 0.75


@functools.lru_cache(maxsize=None)
def measure(program, source, name, photos):
    folder = f"{source}/testimages/{name}"
    with open(f"{folder}/{name}.args", encoding="utf-8") as f:
        options = f.read().split()
    run = subprocess.run([program, "measure", "--json", "-", *options, *[f"{folder}/photo-{k}.jpg" for k in photos]],
                         capture_output=True, text=True, check=False)
    return json.loads(run.stdout)


def splits(source):
    for name, first in SETS:
        count = len(glob.glob(f"{source}/testimages/{name}/photo-*.jpg"))
        rest = [k for k in range(1, count + 1) if k not in first]
        for added in itertools.combinations(rest, 3 - len(first)):  # of one photo plans have two further ones
            yield name, tuple(first), added


def main(program, source):
    compared, failed, promised, broken = 0, 0, 0, 0
    for name, first, added in splits(source):
        before = measure(program, source, name, first)
        plans = [a for a in before["advice"] if a.get("photos") and len(a["photos"]) == len(added) and not a["print_check"]]
        after = measure(program, source, name, tuple(sorted(first + added))) if plans else None
        for plan in plans:
            for dimension, predicted in zip(plan["dimensions"], plan["predicted_U_mm"]):
                was = next(d for d in before["dimensions"] if d["name"] == dimension)
                now = next((d for d in after["dimensions"] if d["name"] == dimension), None)
                assert was["verdict"] == "confirm" and predicted < was["U_mm"], (name, dimension)
                promised += 1
                if now is None or now["verdict"] != "good":
                    codes = [r["code"] for r in now["reasons"]] if now else ["not found"]
                    print(f"{name} {list(first)}+{list(added)} {dimension}: predicted {predicted:.2f}, not good: {', '.join(codes)}")
                    broken += 1
                    continue
                ok = now["U_mm"] < predicted * FACTOR
                compared += ok and predicted < now["U_mm"] * FACTOR
                failed += not ok
                print(f"{name} {list(first)}+{list(added)} {dimension}: U {was['U_mm']:.2f}, predicted {predicted:.2f}, obtained {now['U_mm']:.2f}"
                      + ("" if ok else "  OFF"))
    few = compared < LEAST or promised - broken < KEPT_SHARE * promised
    if few:
        print(f"{promised} promised, {broken} broken, only {compared} as predicted")
    return 1 if failed or few else 0


sys.exit(main(*sys.argv[1:3]))
