"""Photos that should not be measured as they are, or not without leaving something out: what goes wrong, photo by photo.

Keys of a photo in a recipe:
  sheet      {"shift": [x, y] mm, "turn" deg, "lift" mm off the plate, "tilt" deg about the direction "tilt_about" deg in the page,
             "sagitta", "fold", "bend", "held" true: in a hand, without tape}: how the pieces lie in this photo ("name": one piece alone)
  scene      {keys of a recipe}: the photo shows another machine, made by these changes and the seed of the job + 1000
  phone      another phone took it
  zoom       digital zoom whose tag is lost: EXIF says the focal length of the whole picture
  exif35     EXIF's 35 mm focal length, whatever the lens
  stretch    [x, y] factors of the saved picture; mirror: true
  copy_of    the number of an earlier photo, saved again with the quality "quality" (without: the same bytes)
Keys of a recipe: read {"across": factor, "along": factor}: check lines read wrong, or null: not read; misuse: one of KINDS."""
import copy

import numpy as np

import kit
import parts

SKIN = "pigment { rgb <0.55, 0.32, 0.22> } finish { ambient 0 diffuse 0.75 specular 0.1 }"

# kind: (measurable, codes of the values of which one names the cause, codes of the photo of which one does). A value that can be measured
# after leaving photos out may also be doubted with one of the codes.
KINDS = {
    "moved": (True, ["piece-moved", "piece-held"], ["piece-moved", "piece-held"]),
    "bumped": (True, ["piece-moved", "piece-held"], ["piece-moved", "piece-held"]),
    "moved-each": (False, ["piece-moved", "piece-held"], []),
    "other-machine": (True, ["other-scene"], ["other-scene"]),
    "held": (False, ["piece-held", "piece-moved"], []),
    "held-one": (True, ["piece-held", "piece-moved"], ["piece-held", "piece-moved"]),
    "bent": (False, ["piece-bent"], []),
    "folded": (False, ["piece-bent"], []),
    "flapping": (False, ["piece-bent", "piece-moved", "piece-held"], []),
    "zoomed": (True, ["focal-contradicts"], ["focal-contradicts"]),
    "false-exif": (True, ["focal-contradicts"], []),
    "stretched": (True, ["focal-contradicts", "fit-bad", "piece-moved", "other-scene"], ["focal-contradicts", "piece-moved", "other-scene"]),
    "stretched-all": (False, ["focal-contradicts", "fit-bad", "print-scaled", "piece-bent", "lens-unknown"], []),
    "mirrored": (True, ["no-piece"], ["no-piece"]),
    "fit-to-page": (False, ["print-unchecked", "print-scaled"], []),
    "misread": (False, ["print-scaled"], []),
    "two-phones": (True, [], []),
    "copies": (False, ["one-photo", "one-direction"], ["photo-twice"]),
    "one-copy": (True, [], ["photo-twice"]),
}


def other_lens(view):
    return "phone" in view or "zoom" in view


def lens(scene, view, index, f, cx, cy):
    """f, cx, cy and lens terms of a photo by another phone or zoomed."""
    import scene as rooms  # scene.py needs this file first
    rng = np.random.default_rng([scene.seed, index, 11])
    dist, (width, height) = scene.dist, scene.recipe["size"]
    if "phone" in view:
        phone = rooms.PHONES[view["phone"]]
        f = phone["f"] * width * (1 + rng.uniform(-0.02, 0.02))
        cx, cy = np.array([(width - 1) / 2, (height - 1) / 2]) + rng.uniform(-1, 1, 2) * 0.006 * width
        dist = np.array(phone["dist"]) * (1 + rng.uniform(-0.1, 0.1, 5))
    zoom = view.get("zoom", 1.0)
    return f * zoom, (cx - (width - 1) / 2) * zoom + (width - 1) / 2, (cy - (height - 1) / 2) * zoom + (height - 1) / 2, dist


def sheets_in(scene, index):
    """The pieces as they lie in a photo, and what holds them as POV-Ray text."""
    if not hasattr(scene, "shown"):
        scene.shown = {}
    view = scene.views[index]
    if index not in scene.shown:
        scene.shown[index] = _changed(scene, index, view["sheet"]) if "sheet" in view else (scene.sheets, scene.tapes)
    return scene.shown[index]


def _changed(scene, index, change):
    rng = np.random.default_rng([scene.seed, index, 12])
    kept, scene.tapes = scene.tapes, []
    sheets = []
    for was in scene.sheets:
        if change.get("name", was.name) != was.name:
            scene._tapes(was, rng)
            sheets.append(was)
            continue
        sheets.append(moved(was, change))
        if change.get("held"):
            scene.tapes += hands(sheets[-1])
        else:
            scene._tapes(sheets[-1], rng)
    tapes, scene.tapes = scene.tapes, kept
    return sheets, tapes


def moved(was, change):
    """A sheet that lies, hangs or is bent otherwise. What is not held touches the plate with its deepest part."""
    sheet = copy.copy(was)
    c, s = np.cos(np.radians(change.get("turn", 0.0))), np.sin(np.radians(change.get("turn", 0.0)))
    sheet.x_dir, sheet.y_dir = c * was.x_dir + s * was.y_dir, c * was.y_dir - s * was.x_dir
    shift = change.get("shift", [0, 0])
    sheet.middle = was.middle + shift[0] * was.x_dir + shift[1] * was.y_dir
    a = np.radians(change.get("tilt_about", 0.0))
    axis = np.cos(a) * sheet.x_dir + np.sin(a) * sheet.y_dir
    sheet.x_dir, sheet.y_dir = (_turned(d, axis, np.radians(change.get("tilt", 0.0))) for d in (sheet.x_dir, sheet.y_dir))
    sheet.z_dir = np.cross(sheet.x_dir, sheet.y_dir)
    sheet.sagitta, sheet.bend = change.get("sagitta", was.sagitta), change.get("bend", was.bend)
    sheet.fold = np.radians(change.get("fold", np.degrees(was.fold)))
    lift = change.get("lift", 0.0) if change.get("held") else 0.0
    sheet.middle[2] -= sheet.mesh()[0][..., 2].max() + 0.15 + lift
    return sheet


def _turned(d, axis, angle):
    return d * np.cos(angle) + np.cross(axis, d) * np.sin(angle) + axis * (axis @ d) * (1 - np.cos(angle))


def hands(sheet):
    """Two thumbs on the lower margin, the arms below."""
    width, height = kit.size(sheet.name)
    mx, my = kit.page_margin(sheet.name)
    out, thick = [], min(9.0, 0.9 * my + 3)
    for x in (0.12, 0.88):
        a, b = sheet.world(np.array([[x * width, height + 0.75 * my + thick], [x * width + (x - 0.5) * 60, height + my + 110]])) - [0, 0, 0.8 * thick]
        far = b + np.array([0, 260, 60])
        out.append("union { sphere { %s, %.2f } cylinder { %s, %s, %.2f } sphere { %s, 32 } cylinder { %s, %s, 32 } %s }" % (
            parts.vec(a), thick, parts.vec(a), parts.vec(b), thick, parts.vec(b), parts.vec(b), parts.vec(far), SKIN))
    return out


def scene_of(scene, index):
    """The scene that a photo shows: the job's, or another machine's, taken by the same phone."""
    changes = scene.views[index].get("scene")
    if changes is None:
        return scene
    if not hasattr(scene, "others"):
        scene.others = {}
    if index not in scene.others:
        recipe = {**scene.recipe, **changes}
        recipe["photos"] = [{k: v for k, v in view.items() if k != "scene"} for view in scene.views]
        scene.others[index] = type(scene)(recipe, scene.seed + 1000, (scene.f0, scene.c0, scene.dist))
    return scene.others[index]


def expected(kind, names):
    """What truth.json says of a job of this kind."""
    measurable, codes, photo_codes = KINDS[kind]
    return {"kind": kind, "codes": codes, "photo_codes": photo_codes, "measurable": {name: measurable for name in names}}


# ---- drawing -----------------------------------------------------------------------------------------------------------

class Fault:
    """Adds a fault to a drawn recipe of honest photos."""

    def __init__(self, rng, recipe):
        self.rng, self.r = rng, recipe

    def u(self, low, high, digits=2):
        return round(float(self.rng.uniform(low, high)), digits)

    def sign(self):
        return int(self.rng.choice([-1, 1]))

    def odd(self):
        """The photo that is odd: not always the last."""
        return self.r["photos"][int(self.rng.integers(len(self.r["photos"])))]

    def place(self, least=5.0, most=70.0):
        """A place where the sheet was taped anew: beside the bushes, at least so far off."""
        spec, c = self.r["pieces"][0], self.r["centres"]
        half = np.array(kit.size(spec["name"])) / 2 + kit.page_margin(spec["name"])
        big = [p["pin"] / 2 + max(p.get("bush_wall", 14), p.get("cap_over", 0), p.get("collar_over", 0)) + 8 for p in self.r["pins"].values()]
        for _ in range(4000):
            shift, turn = self.rng.uniform(-most, most, 2), self.rng.uniform(-12, 12)
            t = np.radians(turn + np.array([-7, 7]))
            if not least < np.hypot(*shift) < most:
                continue
            clear = True
            for sign, radius in zip((1, -1), big):
                for a in (*t, np.radians(turn)):
                    d = np.array([sign * c / 2, 0]) - (np.array(spec["at"]) + shift)
                    d = np.array([np.cos(a) * d[0] + np.sin(a) * d[1], np.cos(a) * d[1] - np.sin(a) * d[0]])
                    clear &= bool(np.hypot(*np.maximum(np.abs(d) - half - 3, 0)) > radius)
            if clear and spec["at"][1] + shift[1] < half[1] + 1.2 * c:
                return dict(shift=[round(float(x), 2) for x in shift], turn=round(turn, 2))
        return dict(shift=[0, round(least + 3, 2)], turn=0.0)

    def held(self):
        """In front of the plate and pins: lift is of the page's lowest part."""
        ends = max(p.get("proud", 12) + p.get("height", 8) for p in self.r["pins"].values())
        return dict(held=True, lift=self.u(4, 25) + ends * self.u(0.3, 1.0), tilt=self.u(4, 14), tilt_about=self.u(0, 360, 0), turn=self.u(-8, 8),
                    shift=[self.u(-12, 12), self.u(-12, 12)])

    def add(self, kind):
        r, photos = self.r, self.r["photos"]
        r["misuse"] = kind
        getattr(self, "_" + kind.replace("-", "_"))(r, photos)

    def _moved(self, r, photos):
        self.odd()["sheet"] = self.place(2.0, 15.0) if self.rng.random() < 0.4 else self.place()

    def _bumped(self, r, photos):
        """Tape that gives: too little to be seen by eye."""
        a, d = self.rng.uniform(0, 2 * np.pi), self.rng.uniform(0.7, 4)
        self.odd()["sheet"] = dict(shift=[round(float(d * np.cos(a)), 2), round(float(d * np.sin(a)), 2)], turn=self.u(-1.2, 1.2))

    def _moved_each(self, r, photos):
        for view in photos[1:]:
            view["sheet"] = self.place()

    def _other_machine(self, r, photos):
        other = copy.deepcopy(r["pins"])
        factor = self.u(0.8, 0.95) if self.rng.random() < 0.5 else self.u(1.05, 1.2)
        for p in other.values():
            p["pin"] = round(p["pin"] * factor)
            p["proud"] = self.u(4, 30)
        self.odd()["scene"] = dict(centres=round(r["centres"] * (1 + self.sign() * self.u(0.03, 0.1)), 1), pins=other, paint=[0.16, 0.17, 0.18], dirt=0.4)

    def _held(self, r, photos):
        for view in photos:
            view["sheet"] = self.held()

    def _held_one(self, r, photos):
        self.odd()["sheet"] = self.held()

    def _bent(self, r, photos):
        r["pieces"][0]["sagitta"], r["pieces"][0]["bend"] = self.sign() * self.u(5, 10), str(self.rng.choice(["x", "y"]))

    def _folded(self, r, photos):
        r["pieces"][0].pop("sagitta", None)
        r["pieces"][0]["fold"], r["pieces"][0]["bend"] = self.sign() * self.u(4, 9), str(self.rng.choice(["x", "y"]))

    def _flapping(self, r, photos):
        bend = str(self.rng.choice(["x", "y"]))
        for view in photos:
            view["sheet"] = dict(sagitta=self.u(-6, 6), bend=bend)

    def _zoomed(self, r, photos):
        self.odd()["zoom"] = self.u(1.25, 2.0)

    def _false_exif(self, r, photos):
        short = int(self.rng.choice([13, 15, 48, 52, 77]))
        for view in photos:
            view["exif35"] = short

    def _stretched(self, r, photos):
        self.odd()["stretch"] = [self.u(1.03, 1.1), 1.0]

    def _stretched_all(self, r, photos):
        for view in photos:
            view["stretch"] = [1.0, 1.05]

    def _mirrored(self, r, photos):
        self.odd()["mirror"] = True

    def _fit_to_page(self, r, photos):
        r["print_scale"], r["print_difference"] = float(self.rng.choice([0.941, 0.973])), 0.002
        r["read"] = None

    def _misread(self, r, photos):
        r["read"] = {str(self.rng.choice(["across", "along"])): 1 + self.sign() * self.u(0.012, 0.06, 4)}

    def _two_phones(self, r, photos):
        self.odd()["phone"] = "Phone B" if r["phone"] != "Phone B" else "Phone C"

    def _copies(self, r, photos):
        for view in photos[1:]:
            view["copy_of"] = 1
        photos[-1]["quality"] = 70

    def _one_copy(self, r, photos):
        photos.append(dict(copy_of=2, quality=75))
