"""One job: recipe and seed in; POV-Ray text, cameras and exact truth out. The scenario is invented.

World: mm, x right, y down, z away from the viewer; z = 0 is the near ear plate's front; the origin lies midway between
the bushes. What stands out towards the viewer has negative z.
"""
import numpy as np

import kit
import misuse
import parts
from lens import Camera, look_at, stored_rotation

PHONES = {  # invented: focal length over width, lens terms, EXIF rule, sharpening and noise of the picture pipeline
    "Phone A": dict(f=0.795, dist=(0.062, -0.118, 0.0004, -0.0003, 0.041), exif35="width", usm=0.8, usm_sigma=1.3, contrast=0.35, noise=1.0),
    "Phone B": dict(f=0.742, dist=(-0.021, 0.034, -0.0005, 0.0002, -0.012), exif35="diagonal", usm=0.5, usm_sigma=1.0, contrast=0.25, noise=1.4),
    "Phone C": dict(f=0.861, dist=(0.105, -0.24, 0.0002, 0.0006, 0.15), exif35="width", usm=1.1, usm_sigma=1.7, contrast=0.45, noise=0.8),
    "Phone W": dict(f=0.47, dist=(-0.09, 0.012, 0.0003, -0.0002, 0.0), exif35="width", usm=0.9, usm_sigma=1.4, contrast=0.4, noise=1.2),  # wide lens
}
PIN_DEFAULTS = dict(pin=65.0, wear=[0.0, 0.004], end="plain", chamfer=[1.0, 2.0], chamfer_deg=45.0, proud=[8.0, 16.0], bush_wall=[12.0, 16.0],
                    height=[6.0, 10.0], bush_chamfer=[1.5, 2.5], bevel=[0.8, 1.5], play=[0.1, 0.35], inner=[4.0, 7.0], weld=False)
DEFAULTS = dict(size=[1600, 1200], phone="Phone A", centres=380.0, line_deg=0.0, ear_gap=300.0, ear_mm=40.0, light="sun", paint=[0.62, 0.36, 0.03],
                wear=0.15, dust=0.25, dirt=0.25, oversample=1.5, fill=0.92, parallel_deg=0.05, boss=False, below=1.5, show="all",
                print_scale=[0.994, 1.006], print_difference=0.003, sun=[-35.0, 42.0], shadow_on=None, quality=None, exif=True, declare=False, seam=1.0)
VIEWS = [dict(az=2, el=4), dict(az=-21, el=10), dict(az=19, el=14)]


class Draw:
    """Random draws by name of a recipe: a number stands for itself, a pair for a uniform range."""

    def __init__(self, seed):
        self.rng = np.random.default_rng(seed)

    def value(self, v):
        if isinstance(v, (list, tuple)) and len(v) == 2:
            return float(self.rng.uniform(*v))
        return v


class Scene:
    def __init__(self, recipe, seed, lens=None):
        """lens: of another scene's phone (its f0, c0, dist), which takes these photos too."""
        self.seed, self.draw, self.lens = seed, Draw(seed), lens
        self.recipe = {**DEFAULTS, **recipe}
        self.near, self.far, self.solids, self.circles, self.pins, self.sheets, self.tapes = [], [], [], [], [], [], []
        self._pins()
        self._plates()
        self._sheets()
        self._clutter()
        self._background()
        self.views = self.recipe.get("photos", VIEWS)
        self.cameras = [self._camera(i, self.views[view["copy_of"] - 1] if "copy_of" in view else view) for i, view in enumerate(self.views)]

    # -- pins and bushes -------------------------------------------------------------------------------------------
    def _looks(self, bright, dirt):
        return "%.3f, %.3f, %d" % (bright, dirt, self.draw.rng.integers(1, 900))

    def _pins(self):
        r, v = self.recipe, self.draw.value
        self.line = np.radians(v(r["line_deg"]))
        self.line_x = np.array([np.cos(self.line), np.sin(self.line), 0])  # from the link to the dipper pin
        self.line_y = np.array([-np.sin(self.line), np.cos(self.line), 0])
        half = (v(r["centres"]) + self.draw.rng.uniform(-0.9, 0.9)) / 2
        skew = np.radians(r["parallel_deg"])
        for role, sign in (("dipper", 1), ("link", -1)):
            spec = {k: (v(x) if k not in ("end", "smears") else x) for k, x in {**PIN_DEFAULTS, **r.get("pins", {}).get(role, {})}.items()}
            self._one_pin(role, spec, sign * half * self.line_x, skew)
        a, b = self.pins
        self.centres = self._centre_distance(a, b)

    def _axis(self, sd_rad):
        tilt = self.draw.rng.normal(0, sd_rad, 2)
        axis = np.array([tilt[0], tilt[1], 1.0])
        return axis / np.linalg.norm(axis)

    def _one_pin(self, role, s, point, skew):
        rng = self.draw.rng
        pin_mm = round(s["pin"] * (1 - s["wear"]), 3)
        axis = self._axis(skew)
        chamfer = s["chamfer"]
        face_mm = pin_mm - 2 * chamfer / np.tan(np.radians(s["chamfer_deg"])) if s["end"] != "taper" else pin_mm - 2 * s.get("drop", 3.0)
        spec = dict(pin_mm=pin_mm, end=s["end"], chamfer_length_mm=chamfer, face_mm=round(face_mm, 3), bush_mm=round(pin_mm + 2 * s["bush_wall"], 3),
                    height_mm=round(s["height"], 3), chamfer_mm=round(s["bush_chamfer"], 3), bevel_mm=round(s["bevel"], 3),
                    bore_mm=round(pin_mm + s["play"], 3))
        if s.get("round"):  # a dome that runs into the cylinder without an edge
            spec["round"] = True
        if "drill" in s:
            spec["drill_mm"] = round(s["drill"], 3)
        play = rng.uniform(0, s["play"] / 2) * 0.9
        angle = rng.uniform(0, 2 * np.pi)
        bush_point, bush_axis = point, self._axis(skew / 2)
        pin_point = point + play * np.array([np.cos(angle), np.sin(angle), 0])
        front = -(spec["height_mm"] + s["proud"])
        back = self.recipe["ear_mm"] * 2 + self.recipe["ear_gap"]
        bright = rng.uniform(0.85, 1.15)
        looks = self._looks(bright, self.recipe["dirt"])
        self._add(parts.bush(role, spec, bush_point, bush_axis, self.recipe["ear_mm"], self._looks(bright * 0.9, self.recipe["dirt"])))
        self._add(parts.pin_end(role, spec, pin_point, axis, front, back, looks))
        if s["end"] == "cap":
            radius = pin_mm / 2 + s.get("cap_over", 9.0)
            self._add(parts.ring_part(role, "cap", pin_point, axis, front - 10, front, radius, 0, 1.2, "TurnedFace(%s)" % looks))
            self.near.append(parts.bolt(*pin_point[:2], 0.42 * pin_mm, 0.3, looks, z=front - 10))
        if s["end"] == "collar":
            radius = pin_mm / 2 + s.get("collar_over", 11.0)
            z1 = -spec["height_mm"] - 0.4
            self._add(parts.ring_part(role, "collar", pin_point, axis, z1 - s.get("collar_long", 14.0), z1, radius, pin_mm / 2 + 0.05, min(1.5, 0.05 * pin_mm), "BareSteel(%s)" % looks))
        if s["end"] == "o-ring":
            thick = s.get("ring_thick", 5.0)
            spec["ring_mm"] = round(pin_mm + 2 * thick, 3)
            self._add(parts.o_ring(role, pin_point, axis, -spec["height_mm"] - 0.1, pin_mm / 2 + 0.02, thick))
        if s["weld"]:
            self.near.append(parts.weld_ring(bush_point, spec["bush_mm"] / 2 + 1.0, 5.0, int(rng.integers(1, 999))))
        if self.recipe["boss"]:
            self.near.append("cylinder { <0,0,%.3f>, <0,0,1>, %.3f Paint(%s) translate %s }" % (
                -0.45 * spec["height_mm"], spec["bush_mm"] / 2 + 14, self._paint(), parts.vec(bush_point)))
        for angle_deg, span_deg, low, high, size, wet in s.get("smears", []):  # radii as shares of the pin's and bush's
            about = dict(at=pin_point, pin=pin_mm, bush=spec["bush_mm"])
            lumps = parts.smear(about, front, spec["height_mm"], low * pin_mm / 2, high * spec["bush_mm"] / 2, np.radians(angle_deg),
                                np.radians(span_deg), size, rng)
            self.near.append(lumps.text("Mud(%.2f, %d)" % (wet, rng.integers(1, 900))))
            self.solids.append(lumps)
        inner = s["inner"]
        gap = self.recipe["ear_gap"]
        self.pins.append(dict(role=role, spec=spec, point=pin_point, axis=axis, bush_point=bush_point, bush_axis=bush_axis, proud=s["proud"],
                              front=front, height=spec["height_mm"], inner=inner, gap=gap - 2 * inner, big=spec["bush_mm"] / 2))

    def _add(self, part):
        text, solids, circles = part
        self.near.append(text)
        self.solids += solids
        self.circles += circles

    @staticmethod
    def _centre_distance(a, b):
        """Distance of the two pin axes in the plane midway between the near bush faces, square to the mean direction."""
        mean = (a["axis"] + b["axis"]) / np.linalg.norm(a["axis"] + b["axis"])
        faces = [p["bush_point"] - p["height"] * p["bush_axis"] for p in (a, b)]
        level = mean @ (faces[0] + faces[1]) / 2
        cut = [p["point"] + p["axis"] * (level - mean @ p["point"]) / (mean @ p["axis"]) for p in (a, b)]
        return float(np.linalg.norm(cut[0] - cut[1]))

    # -- plates ----------------------------------------------------------------------------------------------------
    def at(self, x, y):
        """World x, y of a place in the pins' frame: x from link to dipper, y square to it (roughly down)."""
        return (x * self.line_x + y * self.line_y)[:2]

    def _paint(self):
        r = self.recipe
        return "%s, %.3f, %.3f, %d" % (parts.rgb(r["paint"]), r["wear"], r["dust"], self.draw.rng.integers(1, 900))

    def _plates(self):
        r, rng = self.recipe, self.draw.rng
        c = self.centres
        corners = [(*p["point"][:2], p["big"] * 1.35 + 8) for p in self.pins]
        for x, y, radius in ((0.62, 0.55, 0.10), (-0.66, 0.7, 0.12), (0.75, r["below"], 0.05), (-0.95, r["below"] + 0.1, 0.05)):
            corners.append((*self.at(x * c, y * c), radius * c))
        self.outline = parts.hull(corners)
        holes = " ".join("cylinder { <%.3f,%.3f,-1>, <%.3f,%.3f,%.3f>, %.3f }" % (x, -y, x, -y, r["ear_mm"] + 1, radius)
                         for x, y, radius in self._holes())
        near = parts.prism(self.outline, 0, r["ear_mm"])
        self.near.append("difference { %s %s Paint(%s) }" % (near, holes, self._paint()) if holes else "object { %s Paint(%s) }" % (near, self._paint()))
        z = r["ear_mm"] + r["ear_gap"]
        self.near.append("object { %s Paint(%s) }" % (parts.prism(self.outline, z, z + r["ear_mm"]), self._paint()))
        for p in self.pins:  # the inward bush faces
            for a, b in ((r["ear_mm"], r["ear_mm"] + p["inner"]), (z - p["inner"], z)):
                self.near.append("difference { cylinder { <0,0,%.3f>, <0,0,%.3f>, %.3f } cylinder { <0,0,%.3f>, <0,0,%.3f>, %.3f } BareSteel(%s) translate %s }" % (
                    a, b, p["big"], a - 1, b + 1, p["spec"]["pin_mm"] / 2 + 0.1, self._looks(0.8, 0.4), parts.vec(p["bush_point"])))
        x0, y0 = self.at(0.05 * c, 0.75 * c)
        self.near.append("cylinder { %s, %s, %.3f Paint(%s) }" % (
            parts.vec((x0, y0, r["ear_mm"])), parts.vec((x0, y0, z)), 0.16 * c, self._paint()))
        a, b = self.at(-0.72 * c, 0.98 * c * r["seam"]), self.at(0.66 * c, 0.80 * c * r["seam"])
        self.near.append(parts.weld_line((*a, 0), (*b, 0), 5.0, int(rng.integers(1, 999))))

    def _holes(self):
        """Drilled holes as distractors: pin-sized and small ones."""
        c = self.centres
        return [(*self.at(x * c, y * c), d / 2) for x, y, d in self.recipe.get("holes", [])]

    # -- printed pieces --------------------------------------------------------------------------------------------
    def _sheets(self):
        rng, v = self.draw.rng, self.draw.value
        base = v(self.recipe["print_scale"])
        for spec in self.recipe["pieces"]:
            other = base + rng.uniform(-1, 1) * self.recipe["print_difference"]
            place = self.at(*(np.array(spec["at"]) + rng.uniform(-3, 3, 2)))
            turn = self.line + np.radians(v(spec.get("turn", [-6, 6])))
            sagitta = v(spec.get("sagitta", 0.0))
            sheet = kit.Sheet(spec["name"], (*place, 0.0), turn, (base, other), sagitta, spec.get("bend", "x"), fold_rad=np.radians(v(spec.get("fold", 0.0))))
            points, _ = sheet.mesh()
            sheet.middle[2] -= points[..., 2].max() + 0.15  # the deepest part of the page touches the plate
            if "raise" in spec:  # on a block, to bring it near the plane of the pins' ends
                sheet.middle[2] -= v(spec["raise"])
                self._block(sheet)
            self.sheets.append(sheet)
            self._tapes(sheet)

    def _block(self, sheet):
        width, height = (a + 2 * b for a, b in zip(kit.size(sheet.name), kit.page_margin(sheet.name)))
        self.near.append("box { <%.3f, %.3f, %.3f>, <%.3f, %.3f, 0> rotate %.5f*z translate %s Tape(<0.45, 0.34, 0.2>, 5) }" % (
            -width / 2, -height / 2, sheet.middle[2] + 0.1, width / 2, height / 2, np.degrees(np.arctan2(-sheet.x_dir[1], sheet.x_dir[0])),
            parts.vec((*sheet.middle[:2], 0))))

    def _tapes(self, sheet, rng=None):
        rng = rng or self.draw.rng
        width, height = kit.size(sheet.name)
        mx, my = kit.page_margin(sheet.name)
        colour = rng.choice([[0.62, 0.55, 0.36], [0.55, 0.57, 0.6], [0.12, 0.25, 0.45]])
        size = max(width, 60)
        for sx, sy in ((-1, -1), (1, -1), (-1, 1), (1, 1)):
            corner = np.array([[width / 2 + sx * (width / 2 + 0.95 * mx), height / 2 + sy * (height / 2 + 0.95 * my)]])
            p = sheet.world(corner)[0]
            slant = sheet.x_dir * np.cos(sx * sy * -np.pi / 4) + sheet.y_dir * np.sin(sx * sy * -np.pi / 4)
            self.tapes.append(parts.strip(p[:2], 0.24 * size, 0.09 * size, slant, min(p[2], -0.15) - 0.12, colour, int(rng.integers(1, 999))))

    # -- distractors -----------------------------------------------------------------------------------------------
    def _clutter(self):
        rng, c = self.draw.rng, self.centres
        for x, y, size in self.recipe.get("bolts", [[0.40, 0.33, 24]]):
            px, py = self.at(x * c, y * c)
            self.near.append(parts.bolt(px, py, size, rng.uniform(0, 1), self._looks(0.9, 0.6)))
        for p in self.pins:  # grease nipple beside each bush
            a = rng.uniform(0, 2 * np.pi)
            d = p["big"] + 11
            x, y = p["bush_point"][:2] + d * np.array([np.cos(a), np.sin(a)])
            self.near.append("union { cylinder { <%.3f,%.3f,1>, <%.3f,%.3f,-3>, 5 } cone { <%.3f,%.3f,-3>, 3.4, <%.3f,%.3f,-11>, 2.2 } sphere { <%.3f,%.3f,-12>, 3 } BareSteel(%s) }" % (
                *([x, -y] * 5), self._looks(1.0, 0.3)))
        box = np.array(self.outline)
        low, high = box.min(0), box.max(0)
        for _ in range(self.recipe.get("scratches", 26)):
            a = rng.uniform(low, [high[0], low[1] + 1.4 * c])
            b = a + rng.normal(0, 1, 2) * rng.uniform(10, 90)
            if self._inside(a, 20) and self._inside(b, 20):
                self.near.append(parts.scratch(a, b, 0.32, rng.choice([[0.16, 0.07, 0.04], [0.35, 0.33, 0.31]])))

    def _inside(self, p, margin):
        """Whether p lies inside the convex outline, at least margin from its edge."""
        o = np.array(self.outline)
        e = np.roll(o, -1, 0) - o
        side = e[:, 0] * (p[1] - o[:, 1]) - e[:, 1] * (p[0] - o[:, 0])
        side /= np.linalg.norm(e, axis=1) + 1e-12
        return bool((side > margin).all() or (side < -margin).all())

    # -- what lies far behind: rendered apart and blurred by the aperture ----------------------------------------------
    def _background(self):
        rng, f = self.draw.rng, self.far
        f.append("plane { y, -%.1f Ground(%d) }" % (rng.uniform(650, 900) + self.centres, rng.integers(1, 900)))
        for _ in range(9):
            x, z, size = rng.uniform(-9000, 9000), rng.uniform(7000, 15000), rng.uniform(700, 2200)
            f.append("sphere { 0, 1 scale <%.0f, %.0f, %.0f> translate <%.0f, %.0f, %.0f> Bushes(%d) }" % (
                size * 1.6, size * 0.8, size, x, -1100, z, rng.integers(1, 900)))
        for _ in range(3):
            x, z = rng.uniform(-3500, 3500), rng.uniform(3500, 6500)
            size = rng.uniform(500, 1100)
            f.append("box { <-1,-1,-0.5>, <1,1,0.5> scale %.0f rotate %.0f*y translate <%.0f, %.0f, %.0f> %s }" % (
                size, rng.uniform(0, 90), x, -1000 + size * 0.8, z, "Rust(%d)" % rng.integers(1, 900) if rng.random() < 0.4 else
                "Paint(%s)" % self._paint()))
        x = rng.choice([-1, 1]) * rng.uniform(900, 2000)
        f.append("cylinder { <%.0f,-1500,%.0f>, <%.0f,2600,%.0f>, 90 Rust(%d) }" % (x, 4200, x + 200, 4200, rng.integers(1, 900)))

    def _light(self, fast=False):
        """Sun and sky as (POV text, zenith, horizon, cloud, cover, sky brightness)."""
        kind = self.recipe["light"]
        az, el = np.radians(np.array(self.recipe["sun"]) + self.draw.rng.uniform(-6, 6, 2))
        d = np.array([np.sin(az) * np.cos(el), np.sin(el), -np.cos(az) * np.cos(el)])
        sun = {"sun": 0.62, "hazy": 0.36, "overcast": 0.10, "shade": 0.0}[kind]
        spread = {"sun": 190, "hazy": 700, "overcast": 6000, "shade": 6000}[kind]
        sky = {"sun": 0.17, "hazy": 0.24, "overcast": 0.36, "shade": 0.40}[kind]
        area = "area_light %d*x, %d*y, 2, 2 adaptive 0 jitter circular orient"
        text = "light_source { <%.0f, %.0f, %.0f> rgb %.3f*<1, 0.94, 0.84> %s }\n" % (*(d * 20000), sun, area % (spread, spread) if spread > 200 or not fast else "") if sun else ""
        soft = "shadowless" if fast and kind in ("sun", "hazy") else "area_light 9000*x, 9000*z, 2, 2 adaptive 0 jitter"  # the sun's shadow is enough
        text += "light_source { <-3000, 9000, -7000> rgb %.3f*<0.80, 0.90, 1.0> %s }\n" % (0.6 * sky, soft)
        text += "light_source { <6000, 2500, -8000> rgb %.3f*<0.9, 0.95, 1.0> shadowless }\n" % (0.35 * sky)
        text += "light_source { <0, -2500, -2500> rgb %.3f*<1, 0.88, 0.72> shadowless }\n" % (0.22 * sky)
        if self.recipe["shadow_on"]:
            text += self._shadow(d)
        clear = kind in ("sun", "hazy", "shade")
        skin = ("<0.14, 0.28, 0.58>", "<0.62, 0.72, 0.82>", "<0.95, 0.95, 0.95>", 0.45 if clear else 0.95, 0.55) if clear else (
            "<0.62, 0.66, 0.70>", "<0.85, 0.86, 0.88>", "<0.80, 0.82, 0.84>", 0.9, 0.6)
        return text, skin

    def _shadow(self, toward_sun):
        """Something out of the picture whose shadow's edge crosses a pin: POV text of an object that no camera ray meets."""
        rng = self.draw.rng
        pin = next(p for p in self.pins if p["role"] == self.recipe["shadow_on"])
        x, y, z = pin["point"] + pin["front"] * pin["axis"]
        place = np.array([x, -y, z]) + 700 * toward_sun
        across = 40 + rng.uniform(-0.5, 0.5) * pin["spec"]["pin_mm"]
        return "box { <%.2f, -400, -1>, <%.2f, 400, 1> rotate %.1f*z translate <%.3f, %.3f, %.3f> pigment { rgb 0.1 } no_image no_reflection }\n" % (
            across - 40, across + 60, rng.uniform(0, 360), *place)

    # -- cameras ---------------------------------------------------------------------------------------------------
    def _phone(self, index):
        """Size, focal length and centre of a photo; self.dist is the job's. One phone, which refocuses and stabilises from photo to photo."""
        rng, phone = self.draw.rng, PHONES[self.recipe["phone"]]
        width, height = self.recipe["size"]
        if index == 0:
            self.f0 = phone["f"] * max(width, height) * (1 + rng.uniform(-0.02, 0.02))
            self.c0 = np.array([(width - 1) / 2, (height - 1) / 2]) + rng.uniform(-1, 1, 2) * 0.006 * width
            self.dist = np.array(phone["dist"]) * (1 + rng.uniform(-0.1, 0.1, 5))
            if self.lens:
                self.f0, self.c0, self.dist = self.lens
        f = self.f0 * (1 + rng.normal(0, 0.003))
        cx, cy = self.c0 + rng.normal(0, 0.0012 * width, 2)
        return width, height, f, cx, cy

    def _camera(self, index, view):
        rng, v = self.draw.rng, self.draw.value
        width, height, f, cx, cy = self._phone(index)
        dist = self.dist
        if misuse.other_lens(view):
            f, cx, cy, dist = misuse.lens(self, view, index, f, cx, cy)
        orientation = view.get("orientation", 1)
        az, el = (np.radians(v(view[k]) + rng.uniform(-1.5, 1.5)) for k in ("az", "el"))
        toward = np.array([np.sin(az) * np.cos(el), -np.sin(el), -np.cos(az) * np.cos(el)])
        roll = np.radians(v(view.get("roll", 0)) + rng.uniform(-3, 3))
        points = self._to_show(misuse.sheets_in(self, index)[0])
        target = (points.min(0) + points.max(0)) / 2
        distance = min(200.0, 0.75 * self.centres)
        for _ in range(400):  # step back until all that matters fits; aim at the middle of what is seen
            position = target + distance * toward
            R = stored_rotation(orientation) @ look_at(position, target, roll)
            camera = Camera(width, height, f, cx, cy, dist, R, -R @ position, orientation)
            if ((points - position) @ R[2]).min() < 0.15 * distance:  # something beside or behind the lens
                distance *= 1.02
                continue
            seen = camera.stored(points)
            if not np.abs(seen - [cx, cy]).max() < width:  # there the lens terms mean nothing, and may turn sides round
                seen = self._pinhole(camera, points)
            middle = (seen.min(0) + seen.max(0)) / 2 - np.array([width, height]) * (0.5 + np.array(view.get("aim", [0, 0])))
            shift = R.T @ np.array([*middle, 0]) * (np.linalg.norm(position - target) / f)
            target = target + 0.5 * shift
            if ((seen.max(0) - seen.min(0)) < np.array([width, height]) * view.get("fill", self.recipe["fill"])).all():
                if np.abs(middle).max() < 0.01 * width:
                    break
            else:
                distance *= 1.02
        return camera

    @staticmethod
    def _pinhole(camera, points):
        plain = Camera(camera.width, camera.height, camera.f, camera.cx, camera.cy, np.zeros(5), camera.R, camera.t, camera.orientation)
        return plain.stored(points)

    def _to_show(self, sheets):
        """World points that the frame must hold: the bushes' rims and the pieces' pages, or the pages alone (to calibrate a phone)."""
        a = np.linspace(0, 2 * np.pi, 12)
        rims = [p["bush_point"] + p["big"] * np.stack([np.cos(a), np.sin(a), 0 * a], -1) for p in self.pins]
        tips = [np.array([p["point"] + p["front"] * p["axis"]]) for p in self.pins]
        pages = [s.mesh()[0].reshape(-1, 3) for s in sheets]
        return np.concatenate(pages if self.recipe["show"] == "pieces" else rims + tips + pages)

    # -- POV-Ray ---------------------------------------------------------------------------------------------------
    def pov(self, bitmap_names, fast=False, sheets=None, tapes=None):
        """Text of the whole scene but the camera. Mode 0: near things; 1: their outline; 2: far things; 3: distance. sheets and tapes:
        those of one photo, where they are not as in the others."""
        light, skin = self._light(fast)
        sheets = [parts.sheet_mesh(s, bitmap_names.get(s.name, ""), 0.4 * self.recipe["dirt"], 17 + i) for i, s in enumerate(self.sheets if sheets is None else sheets)]
        near = "\n".join(self.near + (self.tapes if tapes is None else tapes) + sheets)
        far = "\n".join(self.far)
        sky = "sphere { 0, 1 hollow no_shadow SkySkin(%s, %s, %s, %.2f, %.2f) scale 90000 }" % skin
        return """#version 3.7;
global_settings { assumed_gamma 1.0 max_trace_level #if (Mode = 1 | Mode = 3) 1 #else 4 #end }
#if (Mode = 1 | Mode = 3) #include "plain.inc" #else #include "yard.inc" #end
#include "camera.inc"
#if (Mode = 0 | Mode = 2)
%s
#end
#if (Mode = 1) background { rgb 1 } #else background { rgb 0 } #end
#if (Mode = 3) fog { fog_type 1 distance 1000 rgb 1 } #end
#if (Mode = 2) union { #end
%s
#if (Mode = 2) no_image } #end
#if (Mode = 0 | Mode = 2)
union {
%s
#if (Mode = 0) no_image no_shadow #end
}
object { %s #if (Mode = 0) no_image #end }
#end
""" % (light, near, far, sky)
