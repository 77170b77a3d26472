"""Draws a random job: draw.py CATEGORY SEED [RECIPE [WIDEST]] writes a recipe for make.py (on standard output without RECIPE).

Categories: clean two wide uneven small dirty edges chat single, and misuse-KIND (misuse.py has the kinds): an honest job with that
fault added, clean or now and then two or small. Same category and seed, same recipe. The ranges are those
that a fitter could meet (common practice, no source): pins 30-125 mm, bushes 9-16 mm thick that stand 4-14 mm over the
plate, 130-640 mm centres. The picture's width is set so that a pin shows 2.5 to 7 pixels a millimetre, as on a 12 MP
photo of the same scene or somewhat coarser, but no picture is wider than WIDEST pixels (2000). All of it is invented.
"""
import json
import sys

import numpy as np

import kit
import misuse
from scene import Scene

CATEGORIES = ["clean", "two", "wide", "uneven", "small", "dirty", "edges", "chat", "single"]
PINS = [45, 50, 50.8, 55, 60, 65, 70, 76.2, 80, 90, 100, 110, 120, 125]
SMALL_PINS = [30, 31.75, 35, 38.1, 40, 45]
ENDS = ["taper", "dome", "cap", "collar", "o-ring", "chamfer"]


class Job:
    def __init__(self, category, seed, widest=2000):
        self.category, self.widest, self.rng = category, widest, np.random.default_rng([seed, CATEGORIES.index(category)])
        self.small = category == "small" or (category in ("clean", "dirty", "single", "edges") and self.rng.random() < 0.15)

    def u(self, low, high, digits=2):
        return round(float(self.rng.uniform(low, high)), digits)

    def pick(self, *items):
        return items[int(self.rng.integers(len(items)))]

    # -- pins ------------------------------------------------------------------------------------------------------
    def pin(self, size):
        angle = self.pick(45, 45, 30, 60)
        radial = self.u(1, 3.5) if not self.small else self.u(0.5, 1.5)
        p = dict(pin=size, wear=self.u(0, 0.004, 5), chamfer=round(radial * np.tan(np.radians(angle)), 2), chamfer_deg=angle, proud=self.u(0, 30),
                 bush_wall=self.u(9, 16), height=self.u(4, 14), bush_chamfer=self.u(1, 2.5), bevel=self.u(0, 2), play=self.u(0.1, 1.0),
                 weld=self.rng.random() < 0.3)
        if self.small:
            p.update(proud=self.u(0, 14), bush_wall=self.u(6, 11), height=self.u(3, 7), bush_chamfer=self.u(0.6, 1.5), bevel=self.u(0, 1))
        if self.rng.random() < 0.3:
            p["drill"] = self.pick(0.0, 0.0, self.u(6, 0.3 * size))
        p["proud"] = max(p["proud"], 2.0) if p["chamfer"] > p["proud"] else p["proud"]
        p["bevel"] = max(p["bevel"], 0.02)  # the bush is bored by cones, which want some height
        return p

    def shape_end(self, p, end):
        """Ends whose edges mislead; they need some stand-out to be seen."""
        p["proud"] = max(p["proud"], self.u(10, 30))
        if end == "taper":
            p.update(end="taper", chamfer=self.u(8, min(22, p["proud"] + 4)), drop=self.u(2, 6))
        elif end == "dome":
            p.update(end="dome", chamfer=self.u(2.5, 8))
        elif end == "cap":
            p.update(end="cap", cap_over=self.u(4, 14), proud=self.u(1, 14))
        elif end == "collar":
            long = self.u(6, 14)
            p.update(end="collar", collar_over=self.u(5, 14), collar_long=long, proud=round(long + self.u(4, 16), 2))
        elif end == "o-ring":
            p.update(end="o-ring", ring_thick=self.u(3, 7))
        else:
            p.update(chamfer=self.u(3, 6), chamfer_deg=45)

    def smears(self, p):
        """Mud or grease over up to a third of the way round."""
        out, left = [], self.u(40, 126, 0)
        while left > 15:
            span = self.u(15, min(left, 80) + 1, 0)
            low, high = self.pick((0.75, 1.25), (0.9, 1.05), (0.85, 0.95))
            out.append([self.u(0, 360, 0), span, low, high, self.u(0.035, 0.08) * p["pin"], self.pick(0.0, 0.3, 1.0)])
            left -= span
        p["smears"] = out

    def two_pins(self):
        size = self.pick(*(SMALL_PINS if self.small else PINS))
        other = size if self.rng.random() < 0.5 else self.pick(*[x for x in (SMALL_PINS if self.small else PINS) if 0.7 < x / size < 1.4])
        self.dipper, self.link = self.pin(size), self.pin(other)
        if self.rng.random() < 0.5:  # like stand-out, as most machines have
            self.link["proud"] = self.dipper["proud"]
        pair = [self.dipper, self.link]
        for p in pair:  # neither weld nor boss may reach the bush's outer edge: the truth takes no notice of them
            p["weld"] &= p["height"] - p["bush_chamfer"] > 4
        self.may_boss = all(0.5 * p["height"] - p["bush_chamfer"] > 0.3 for p in pair)
        if self.category == "uneven":
            self.rng.shuffle(pair)
            pair[0]["proud"], pair[1]["proud"] = self.u(40, 62), self.pick(0.0, self.u(-6, -1), self.u(-6, 0))
            if pair[1]["proud"] < 0:
                pair[1]["weld"] = False
        if self.category == "edges":
            for p in pair:
                self.shape_end(p, self.pick(*ENDS))
        if self.category == "dirty":
            for p in pair:
                self.smears(p)
        self.big = [p["pin"] / 2 + p["bush_wall"] + max(p.get("cap_over", 0) - p["bush_wall"], p.get("collar_over", 0) - p["bush_wall"], 0) for p in pair]

    # -- pieces ----------------------------------------------------------------------------------------------------
    def piece(self, name, low_y=None):
        """A piece between the pins where it fits, else below them."""
        mx, my = kit.page_margin(name)
        width, height = (a + 2 * b for a, b in zip(kit.size(name), (mx, my)))
        spec = dict(name=name, turn=[-6, 6])
        if self.rng.random() < 0.4:
            spec["sagitta"], spec["bend"] = self.u(-0.6, 0.6), self.pick("x", "y")
        room = self.centres - sum(self.big) - 30
        if low_y is None and room > width * 1.06:
            spec["at"] = [self.u(-0.2, 0.2) * (room - width), self.u(-0.05, 0.3) * height]
        else:
            spec["at"] = [self.u(-0.1, 0.1) * self.centres, (low_y or 0) + max(self.big) + 14 + height * 0.55]
        return spec

    def pieces(self):
        c = self.centres
        name = "plate-%d" % self.pick(1, 2) if c > 380 or (c > 330 and self.rng.random() < 0.6) else (
            "patch-%d" % self.pick(1, 2, 3, 4) if c > 185 else self.pick("mini-1", "mini-2", "patch-1"))
        first = self.piece(name)
        if self.category == "single":
            first.pop("sagitta", None)
            ends = [p["proud"] + p["height"] for p in (self.dipper, self.link)]
            first["raise"] = max(0.5, round(float(np.mean(ends)) + self.u(-2, 2), 2))
        if self.category != "two":
            return [first]
        if c > 480:  # a plate near each pin, below
            out = []
            for plate, sign in (("plate-1", 1), ("plate-2", -1)):
                out.append({**self.piece(plate, low_y=0.0), "name": plate, "turn": [-5, 5], "at": [sign * self.u(120, 140), max(self.big) + 180]})
            return out
        second = self.piece("patch-2" if c > 185 else "mini-2", low_y=first["at"][1] + kit.size(first["name"])[1] / 2 - max(self.big) + 25)
        if name in ("patch-2", "mini-2"):
            first["name"] = name[:-1] + "1"
        return [first, second]

    def free_places(self, sheets, count, size):
        """Places for bolts and holes away from pins and pieces, in shares of the centres."""
        out = []
        for _ in range(60 * count):
            x, y = self.u(-0.6, 0.6), self.u(0.2, 0.9)
            at = np.array([x, y]) * self.centres
            clear = all(np.hypot(*(at - [s * self.centres / 2, 0])) > max(self.big) + size + 22 for s in (1, -1))
            for s in sheets:
                half = np.array(kit.size(s["name"])) / 2 + kit.page_margin(s["name"])
                clear &= bool((np.abs(at - s["at"]) > half + size + 14 + 0.1 * half[::-1]).any())
            clear &= all(np.hypot(*(at - np.array(o) * self.centres)) > 3 * size for o in out)
            if clear:
                out.append([x, y])
            if len(out) == count:
                break
        return out

    # -- the whole -------------------------------------------------------------------------------------------------
    def views(self, turned):
        n = 1 if self.category == "single" else self.pick(3, 3, 3, 4)
        out = [dict(az=self.u(-6, 6, 1), el=self.u(0, 7, 1))]
        sides = [(-self.u(15, 28, 1), self.u(2, 12, 1)), (self.u(15, 28, 1), self.u(2, 16, 1)), (self.u(-6, 6, 1), self.u(15, 28, 1))]
        out += [dict(az=a, el=e, roll=self.u(-4, 4, 1)) for a, e in sides[:n - 1]]
        for view in out:
            if turned:
                view["orientation"] = self.pick(6, 6, 8)
        return out

    def recipe(self):
        self.two_pins()
        low = sum(self.big) + 75
        top = 640 if not self.small else 230
        self.centres = self.u(*((480, 640) if self.category in ("two", "wide") and self.rng.random() < 0.5 else (max(130, low), max(low + 60, min(top, 5.5 * self.dipper["pin"])))), 1)
        steep = self.category != "single" and self.rng.random() < 0.25
        sheets = self.pieces()
        bolt = 10 if self.small else self.pick(19, 24, 30)
        light = self.pick("sun", "hazy", "overcast", "shade")
        r = dict(about="drawn by draw.py: " + self.category, category=self.category, size=[1600, 1200], oversample=1.0, fill=self.u(0.8, 0.95),
                 phone="Phone W" if self.category == "wide" else "Phone " + self.pick("A", "B", "C"), centres=self.centres,
                 line_deg=self.u(55, 100, 1) * self.pick(-1, 1) if steep else self.u(-30, 30, 1), ear_gap=self.u(1.6, 3.2) * max(self.dipper["pin"], 60),
                 ear_mm=self.u(14, 50) if not self.small else self.u(10, 20), light=light, sun=[self.u(-65, 65, 0), self.u(28, 65, 0)],
                 paint=self.pick([0.62, 0.36, 0.03], [0.05, 0.20, 0.24], [0.50, 0.13, 0.04], [0.16, 0.17, 0.18], [0.07, 0.10, 0.26], [0.42, 0.40, 0.34], [0.06, 0.19, 0.07]),
                 wear=self.u(0.08, 0.2), dust=self.u(0.1, 0.5), dirt=self.u(0.55, 0.95) if self.category == "dirty" else self.u(0.05, 0.5),
                 boss=self.rng.random() < 0.4 and self.may_boss, below=1.7, parallel_deg=0.06, print_scale=[0.985, 1.01], print_difference=0.004,
                 pins=dict(dipper=self.dipper, link=self.link), pieces=sheets, bolts=[[*p, bolt] for p in self.free_places(sheets, int(self.rng.integers(0, 3)), bolt)],
                 photos=self.views(steep))
        if self.rng.random() < 0.25:
            r["holes"] = [[*p, self.u(0.7, 1.05) * self.dipper["pin"]] for p in self.free_places(sheets, 1, 0.6 * self.dipper["pin"])]
        if light in ("sun", "hazy") and self.rng.random() < (0.5 if self.category == "dirty" else 0.15):
            r["shadow_on"] = self.pick("dipper", "link")
        if self.category == "chat":
            r.update(exif=False, quality=70)
            for view in r["photos"]:  # an app that drops what EXIF says turns the picture upright before
                if view.pop("orientation", 1) != 1:
                    r["size"] = [1200, 1600]
        if self.category == "single":
            r["declare"] = True
        lowest = max(s["at"][1] + np.hypot(*(np.array(kit.size(s["name"])) / 2 + kit.page_margin(s["name"]))) for s in sheets)
        r["seam"] = round(max(1.0, (lowest + 15) / (0.8 * self.centres)), 3)  # the plate's weld seam runs below the pieces
        r["below"] = round(max(1.7, 1.1 * r["seam"] + 0.2), 3)
        return self.sized(r)

    def sized(self, r):
        """Sets the picture's width from the scale at the pins; a chat app's is what it is."""
        if self.category == "chat":
            return r
        scene = Scene(r, 1)
        a = scene.cameras[0].upright(np.stack([p["point"] + p["front"] * p["axis"] for p in scene.pins]))
        scale = np.hypot(*(a[0] - a[1])) / self.centres / r["size"][0]
        low, high = max(2.5, 0.7 * self.widest * scale), min(9.0 if self.small else 7.0, self.widest * scale)
        width = np.exp(self.rng.uniform(np.log(min(low, high)), np.log(high))) / scale
        r["size"] = [int(width // 4 * 4), int(width // 4 * 3)]
        return r


def faulty(kind, seed, widest):
    rng = np.random.default_rng([seed, 100 + sorted(misuse.KINDS).index(kind)])
    job = Job(str(rng.choice(["clean", "clean", "clean", "two", "small"])), seed, *widest)
    recipe = job.recipe()
    recipe.update(about="drawn by draw.py: misuse-" + kind, category="misuse")
    if len(recipe["pieces"]) > 1:
        recipe["print_difference"] = 0.0003  # one printer, one sheet after the other
    misuse.Fault(rng, recipe).add(kind)
    return recipe


def main():
    category, seed, widest = sys.argv[1], int(sys.argv[2]), list(map(int, sys.argv[4:5]))
    recipe = faulty(category[7:], seed, widest) if category.startswith("misuse-") else Job(category, seed, *widest).recipe()
    text = json.dumps(recipe, indent=1) + "\n"
    if len(sys.argv) > 3:
        with open(sys.argv[3], "w") as file:
            file.write(text)
    else:
        sys.stdout.write(text)


if __name__ == "__main__":
    main()
