#!/usr/bin/env python3
"""Scores pinspan on folders of test photos with truth: score.py [--program build/pinspan] [FOLDER...]

Runs `pinspan measure` with each folder's check lines (FOLDER/NAME.args) and compares the result with truth.json: for
every wanted size its error, the stated u and the verdict; the rms error per kind; wrong goods (a `good` further off
than its need, the worst fault); and the rims found within 3 px. Without folders: all beside this script.
Of misuse (truth.json says which values can be measured and which codes name the cause): undue goods of what cannot be measured, values
whose reasons do not name the cause, photos whose fault is not named, and codes of contradictions raised without one.
Exit status 1 where there is a wrong or undue good or the program failed, else 0. Standard library only.
"""
import argparse
import json
import math
import os
import shlex
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
RIM_PX = 3.0  # a rim counts as found where its ellipse passes this near (rms) to the true points that can be seen
CONTRADICTIONS = {"piece-moved", "piece-held", "piece-bent", "other-scene", "focal-contradicts", "print-scaled", "one-direction"}
SEEN = 12  # of 36 points: a rim seen on less than a third of its way is not asked for


def measure(program, folder, truth, extra):
    """The program's JSON for one folder, and what it said on standard error; None where it failed."""
    arguments = os.path.join(folder, os.path.basename(folder) + ".args")
    options = []
    if os.path.exists(arguments):
        with open(arguments) as file:
            options = shlex.split(file.read(), comments=True)
    photos = [os.path.join(folder, photo["file"]) for photo in truth["photos"]]
    done = subprocess.run([program, "measure", "--json", "-", *options, *extra, *photos], capture_output=True, text=True)
    if done.returncode not in (0, 4):
        return None, "exit status %d: %s" % (done.returncode, done.stderr.strip()[-300:])
    try:
        return json.loads(done.stdout), done.stderr
    except ValueError as error:
        return None, "no JSON: %s" % error


def ellipse_distance(point, ellipse):
    """Distance of a point from an ellipse to first order (Sampson): exact enough within a few pixels of the curve."""
    turn = math.radians(ellipse["angle_deg"])
    dx, dy = point[0] - ellipse["cx"], point[1] - ellipse["cy"]
    x, y = dx * math.cos(turn) + dy * math.sin(turn), -dx * math.sin(turn) + dy * math.cos(turn)
    a, b = ellipse["a"], ellipse["b"]
    value = (x / a) ** 2 + (y / b) ** 2 - 1
    slope = 2 * math.hypot(x / a ** 2, y / b ** 2)
    return abs(value) / slope if slope > 0 else min(a, b)


def odd_photos(truth):
    """Files of photos that a recipe makes unlike the others."""
    views, odd = truth["recipe"].get("photos", []), {"sheet", "scene", "zoom", "stretch", "mirror", "copy_of"}
    return {p["file"] for p, v in zip(truth["photos"], views) if odd & set(v)}


def rms(values):
    return math.sqrt(sum(v * v for v in values) / len(values))


class Tally:
    def __init__(self):
        self.errors, self.ratios, self.verdicts, self.wrong, self.failed = {}, {}, {}, [], []
        self.asked, self.found, self.stray = {}, {}, {}
        self.undue, self.nameless, self.claimed = [], [], []

    def dimensions(self, folder, truth, result):
        given = {d["name"]: d for d in result["dimensions"]}
        for name, true in truth["wanted"].items():
            d = given.get(name)
            if d is None or d.get("value_mm") is None:
                verdict = d["verdict"] if d else "absent"
                print("  %-26s true %8.2f   %s" % (name, true, verdict))
                self.count(name, verdict)
                continue
            error, reasons = d["value_mm"] - true, " ".join(r["code"] for r in d.get("reasons", []))
            wrong = d["verdict"] == "good" and abs(error) > d["need_mm"]
            print("  %-26s true %8.2f   error %+7.2f   u %6.2f   %-8s%s %s" % (
                name, true, error, d["u_mm"], d["verdict"], " WRONG GOOD" if wrong else "", reasons))
            kind = name.rsplit(".", 1)[1]
            self.errors.setdefault(kind, []).append(error)
            self.ratios.setdefault(kind, []).append(error / d["u_mm"])
            self.count(name, d["verdict"])
            if wrong:
                self.wrong.append("%s %s" % (folder, name))

    def misuse(self, folder, truth, result):
        """Whether what cannot be measured is no good and says why, and what is odd in a photo is said of it."""
        fault = truth.get("misuse") or {"codes": [], "photo_codes": [], "measurable": {}}
        for d in result["dimensions"]:
            codes = {r["code"] for r in d.get("reasons", [])}
            if not fault["measurable"].get(d["name"], True):
                if d["verdict"] == "good":
                    self.undue.append("%s %s" % (folder, d["name"]))
                elif not codes & set(fault["codes"]):
                    self.nameless.append("%s %s: %s" % (folder, d["name"], " ".join(sorted(codes))))
            self.claim(folder, d["name"], codes & CONTRADICTIONS if not codes & set(fault["codes"]) else set())
        kept = {p["file"] for p in truth["photos"]}
        for photo in result["photos"]:
            codes = {r["code"] for r in photo["problems"]}
            odd = os.path.basename(photo["file"]) in odd_photos(truth) & kept
            if odd and fault["photo_codes"] and not codes & set(fault["photo_codes"]):
                self.nameless.append("%s %s: %s" % (folder, os.path.basename(photo["file"]), " ".join(sorted(codes))))
            if "misuse" in truth:
                print("  %s%s: %s" % (os.path.basename(photo["file"]), " (odd)" if odd else "", " ".join(sorted(codes))))
            # Where all photos are odd alike no photo's code is asked for, and the values' codes are true of any.
            true = fault["codes"] if not fault["photo_codes"] else fault["photo_codes"] if odd else []
            self.claim(folder, os.path.basename(photo["file"]), codes & CONTRADICTIONS - set(true))

    def claim(self, folder, what, codes):
        if codes:
            self.claimed.append("%s %s: %s" % (folder, what, " ".join(sorted(codes))))

    def count(self, name, verdict):
        kinds = self.verdicts.setdefault(name.rsplit(".", 1)[1], {})
        kinds[verdict] = kinds.get(verdict, 0) + 1

    def rims(self, truth, result):
        by_file = {os.path.basename(p["file"]): p for p in result["photos"]}
        for photo in truth["photos"]:
            if photo["file"] in odd_photos(truth):
                continue
            got = by_file.get(photo["file"], {})
            given = {(r["pin"], r["edge"], r.get("ear", "near")): r for r in got.get("rims", [])}
            for circle in photo["circles"]:
                edge = circle["edge"]
                seen = [p for p, v in zip(circle["points"], circle["visible"]) if v]
                rim = given.get((circle["pin"], edge, circle["ear"]))
                close = rim and seen and rms([ellipse_distance(p, rim["ellipse"]) for p in seen]) <= RIM_PX
                if len(seen) >= SEEN:
                    self.asked[edge] = self.asked.get(edge, 0) + 1
                    self.found[edge] = self.found.get(edge, 0) + bool(close)
                if rim and not close:
                    self.stray[edge] = self.stray.get(edge, 0) + 1

    def summary(self):
        print("\nkind       n    rms error   rms error/u   verdicts")
        for kind in sorted(self.verdicts):
            errors = self.errors.get(kind, [])
            figures = "%7.3f mm   %9.2f  " % (rms(errors), rms(self.ratios[kind])) if errors else "      -             -  "
            print("%-9s %3d   %s   %s" % (kind, len(errors), figures, ", ".join("%s %d" % v for v in sorted(self.verdicts[kind].items()))))
        print("\nrims: found within %g px of those that can be seen; given but further off" % RIM_PX)
        for edge in sorted(self.asked):
            print("%-10s %3d of %3d; %d off" % (edge, self.found[edge], self.asked[edge], self.stray.get(edge, 0)))
        for title, lines in (("wrong goods", self.wrong), ("undue goods", self.undue), ("cause not named", self.nameless),
                             ("contradictions claimed without cause", self.claimed), ("failed", self.failed)):
            print("\n%s: %d" % (title, len(lines)))
            for line in lines:
                print("  " + line)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="*")
    parser.add_argument("--program", default=os.path.join(HERE, "..", "build", "pinspan"))
    parser.add_argument("--extra", default="", help="further options for pinspan measure, as one word")
    options = parser.parse_args()
    folders = options.folders or [os.path.join(HERE, n) for n in sorted(os.listdir(HERE)) if os.path.exists(os.path.join(HERE, n, "truth.json"))]
    tally = Tally()
    for folder in (os.path.normpath(f) for f in folders):
        with open(os.path.join(folder, "truth.json")) as file:
            truth = json.load(file)
        print(os.path.basename(folder) + (": " + truth["misuse"]["kind"] if "misuse" in truth else ""))
        result, said = measure(options.program, folder, truth, shlex.split(options.extra))
        if result is None:
            print("  failed: " + said)
            tally.failed.append("%s failed" % os.path.basename(folder))
            continue
        tally.dimensions(os.path.basename(folder), truth, result)
        tally.rims(truth, result)
        tally.misuse(os.path.basename(folder), truth, result)
    tally.summary()
    return 1 if tally.wrong or tally.undue or tally.failed else 0


if __name__ == "__main__":
    sys.exit(main())
