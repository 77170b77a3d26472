"""A job over a single boss: a tube along the pin with a bush at either end whose flat faces look outward, away from each other. The
printed piece lies on the flat top plate of the part beside it, its +x toward the boss. World as in gap.py (x right, y down, z along
the pin): z = 0 is the tube's end toward the first photos, z = boss_mm the other. The scenario is invented."""
import numpy as np

import kit
import parts
from gap import GapScene
from lens import look_at

BOSS_DEFAULTS = dict(boss_mm=[120.0, 350.0], bush_outer=[70.0, 160.0], bush_wall=[9.0, 16.0], collar=[8.0, 22.0], height=[1.5, 8.0], bush_chamfer=[0.5, 2.2],
                     bevel=[0.5, 1.2], play=[0.2, 0.6], painted=True, top_tilt_deg=0.4, coaxial_mm=0.15, rise=[-120.0, 60.0], ear_mm=30.0)
# Two from either side; `az` about the vertical from the pin's direction, `el` above the plate.
VIEWS = [dict(side=-1, az=[-30, -8], el=[35, 50]), dict(side=1, az=[8, 30], el=[35, 50]),
         dict(side=-1, az=[5, 28], el=[38, 55]), dict(side=1, az=[-28, -5], el=[38, 55])]


class BossScene(GapScene):
    def _pins(self):
        r, v, rng = self.recipe, self.draw.value, self.draw.rng
        for key, value in BOSS_DEFAULTS.items():
            r.setdefault(key, value)
        r.setdefault("photos", VIEWS)
        self.boss_mm = r["ear_gap"] = v(r["boss_mm"])  # ear_gap: end to end of the tube, for the truth
        self.centres = 300.0  # how far away the ground and what stands on it are, as in other scenes
        self.line = 0.0
        axis, point = self._axis(np.radians(r["parallel_deg"])), np.zeros(3)
        bush_mm, wall = v(r["bush_outer"]), v(r["bush_wall"])
        pin_mm = bush_mm - 2 * wall
        self.tube = bush_mm / 2 + v(r["collar"])
        heights, faces = [], []
        for ear, at, sign in (("near", 0.0, 1.0), ("far", self.boss_mm, -1.0)):
            spec = dict(height_mm=v(r["height"]), bush_mm=bush_mm, chamfer_mm=v(r["bush_chamfer"]), bevel_mm=v(r["bevel"]), bore_mm=pin_mm + v(r["play"]))
            foot = axis * (at / axis[2]) + np.array([*rng.normal(0, r["coaxial_mm"], 2), 0])
            self._bush("dipper", ear, spec, foot, sign * axis)
            faces.append(foot - spec["height_mm"] * sign * axis)
            heights.append(spec["height_mm"])
        inside = r.get("pin_in", ["empty", "empty", "flush", "proud"][int(rng.integers(0, 4))])
        if inside != "empty":
            self._pin(pin_mm, axis, heights, inside)
        spec = dict(pin_mm=round(pin_mm, 3), bush_mm=round(bush_mm, 3), across=inside != "empty", inside=inside)
        self.pins.append(dict(role="dipper", spec=spec, point=point, axis=axis, bush_point=point, bush_axis=axis, proud=0.0, front=0.0, height=heights[0],
                              inner=0.0, gap=float((faces[1] - faces[0]) @ axis), big=bush_mm / 2))

    def _pin(self, pin_mm, axis, heights, inside):
        """A pin that lies in the boss, its ends flush within a little or standing out of the faces."""
        rng = self.draw.rng
        out = rng.uniform(-2, 1, 2) if inside == "flush" else rng.uniform(6, 30, 2)
        z0, z1 = -heights[0] - out[0], self.boss_mm + heights[1] + out[1]
        rp, c = pin_mm / 2, rng.uniform(1.0, 3.0)
        start = np.array([*rng.uniform(-0.05, 0.05, 2), 0])
        looks = self._looks(rng.uniform(0.85, 1.15), self.recipe["dirt"])
        profile = [(z0, rp - c), (z0 + c, rp), (z1 - c, rp), (z1, rp - c)]
        body = " ".join(parts.frustum(*a, *b) for a, b in zip(profile[:-1], profile[1:]))
        self.near.append("union { %s TurnedFlank(%s) %s }" % (body, looks, parts.place(start, axis)))
        self.solids.append(parts.Turned(start, axis, profile))

    # -- the tube, and the part that carries it --------------------------------------------------------------------------
    def _plates(self):
        r, v, rng = self.recipe, self.draw.value, self.draw.rng
        pin, width, tube = self.pins[0], self.boss_mm, self.tube
        bore = pin["spec"]["pin_mm"] / 2 + 3.0
        text = parts.bored(parts.frustum(0, tube, width, tube), [parts.frustum(-1, bore, width + 1, bore)])
        self.near.append("object { %s Paint(%s) %s }" % (text, self._paint(), parts.place(pin["point"], pin["axis"])))
        self.solids.append(parts.Turned(pin["point"], pin["axis"], [(0, tube), (width, tube)], [(0, bore), (width, bore)]))
        self.depth = np.clip(v(r["rise"]), -1.45 * tube, 0.75 * tube)  # of the plate under the axis
        tilt = np.radians(rng.normal(0, r["top_tilt_deg"], 2))
        self.down = np.array([tilt[1], 1.0, tilt[0]]) / np.linalg.norm([tilt[1], 1.0, tilt[0]])
        # The plate ends at the tube, or above it where it lies higher.
        self.end = -np.sqrt(tube ** 2 - self.depth ** 2) if abs(self.depth) < 0.85 * tube else -0.55 * tube
        self.end -= 2.0 if abs(self.depth) < 0.85 * tube else 0.0
        high = max(self.depth + 1.4 * tube, 0.9 * tube)
        self.long = v([260, 380])
        side = rng.uniform(3, 16)
        z0, z1 = side, width - side
        below = self.depth + 8  # under the top plate
        outline = [(-self.long, below), (self.end, below), (-0.1 * tube, -0.93 * tube), (-0.1 * tube, 0.93 * tube), (-self.long, high)]
        hole = ["object { %s %s }" % (parts.frustum(-1, bore, width + 1, bore), parts.place(pin["point"], pin["axis"]))]
        self.near.append("object { %s Paint(%s) }" % (parts.bored(parts.prism(outline, z0, z1), hole), self._paint()))
        wide = rng.uniform(0, 25)
        self.z0, self.z1 = z0 - wide, z1 + wide
        box = "box { <%.3f, -14, %.3f>, <%.3f, 0, %.3f> Paint(%s)" % (-self.long, self.z0, self.end - tube * 0.12, self.z1, self._paint())
        turn = "rotate %.5f*x rotate %.5f*z translate <0, %.4f, 0> }" % (np.degrees(-tilt[0]), np.degrees(tilt[1]), -self.depth)
        self.near.append(box + " " + turn)
        if rng.random() < 0.6:
            for z in (z0 - 1, z1 + 1):
                self.near.append(parts.weld_line((self.end - 10, self.depth + 14, z), (-self.long, self.depth + 14, z), 4.0, int(rng.integers(1, 999))))
        if rng.random() < 0.5:
            self._weld_seam(tube, z0, z1)

    def _weld_seam(self, tube, z0, z1):
        """Where the part's sides meet the tube."""
        rng = self.draw.rng
        for z in (z0 - 1, z1 + 1):
            if not 2 < z < self.boss_mm - 2:
                continue
            a = np.pi + np.linspace(-1.1, 1.1, 50)
            beads = ["sphere { %s, %.3f }" % (parts.vec((tube * np.cos(t), tube * np.sin(t), z)), 3.5 * rng.uniform(0.85, 1.1)) for t in a]
            self.near.append("union { %s WeldSkin(%d) }" % (" ".join(beads), rng.integers(1, 999)))

    def _sheets(self):
        rng, v = self.draw.rng, self.draw.value
        base = v(self.recipe["print_scale"])
        for spec in self.recipe["pieces"]:
            name = spec["name"] if spec["name"] != "fit" else ("patch-1" if self.z1 - self.z0 > 130 else "mini-1")
            other = base + rng.uniform(-1, 1) * self.recipe["print_difference"]
            turn = np.radians(v(spec.get("turn", [-8, 8])))
            sheet = kit.Sheet(name, (0, 0, 0), 0.0, (base, other), v(spec.get("sagitta", 0.0)), spec.get("bend", "x"))
            along_x = np.array([1.0, 0, 0]) - self.down * self.down[0]
            along_x /= np.linalg.norm(along_x)
            along_y = np.cross(self.down, along_x)
            sheet.x_dir = np.cos(turn) * along_x + np.sin(turn) * along_y
            sheet.y_dir = np.cos(turn) * along_y - np.sin(turn) * along_x
            sheet.z_dir = np.cross(sheet.x_dir, sheet.y_dir)
            half = 0.5 * kit.size(name)[0] + kit.page_margin(name)[0]
            flat = np.array([self.end - 0.12 * self.tube - half - rng.uniform(12, 40), self.depth, 0.5 * self.boss_mm + rng.uniform(-12, 12)])
            flat[1] -= ((flat - [0, self.depth, 0]) @ self.down) / self.down[1]  # on the plate's tilted surface
            sheet.middle = flat
            points, _ = sheet.mesh()
            sheet.middle = flat - self.down * (((points.reshape(-1, 3) - flat) @ self.down).max() + 0.15)
            self.sheets.append(sheet)
            self._tapes(sheet)

    def _clutter(self):
        """Scratches on the plate, on the tube's ends and along its side."""
        rng = self.draw.rng
        for _ in range(self.recipe.get("scratches", 16)):
            kind = rng.random()
            if kind < 0.5:
                a = np.array([rng.uniform(-self.long, self.end - 20), self.depth, rng.uniform(self.z0, self.z1)])
                b = a + np.array([rng.normal(0, 25), 0, rng.normal(0, 25)])
            elif kind < 0.75:
                t, z = rng.uniform(-np.pi, 0), rng.choice([0.0, self.boss_mm])
                r = self.pins[0]["big"] + rng.uniform(0.2, 0.8) * (self.tube - self.pins[0]["big"])
                a = np.array([r * np.cos(t), r * np.sin(t), z])
                b = a + np.array([rng.normal(0, 5), rng.normal(0, 5), 0])
            else:
                t = rng.uniform(-np.pi, 0)
                a = np.array([self.tube * np.cos(t), self.tube * np.sin(t), rng.uniform(0.1, 0.9) * self.boss_mm])
                b = a + np.array([0, 0, rng.normal(0, 20)])
                b[2] = np.clip(b[2], 2, self.boss_mm - 2)
            if np.linalg.norm(b - a) < 1:
                continue
            colour = rng.choice([[0.16, 0.07, 0.04], [0.35, 0.33, 0.31]])
            self.near.append("cylinder { %s, %s, 0.3 pigment { rgb %s } finish { ambient 0 diffuse 0.6 } }" % (parts.vec(a), parts.vec(b), parts.rgb(colour)))

    # -- cameras ---------------------------------------------------------------------------------------------------------
    def _camera(self, index, view):
        rng, v = self.draw.rng, self.draw.value
        width, height, f, cx, cy = self._phone(index)
        orientation = view.get("orientation", 1)
        az, el = (np.radians(v(view[k]) + rng.uniform(-2, 2)) for k in ("az", "el"))
        if self.depth > -0.4 * self.tube:  # from beyond the boss it would hide the piece
            az = -abs(az) if az < 0 else -0.4 * az
        toward = np.array([np.sin(az) * np.cos(el), -np.sin(el), view["side"] * np.cos(az) * np.cos(el)])
        roll = np.radians(v(view.get("roll", 0)) + rng.uniform(-6, 6))
        points = self._to_show_from(view["side"])
        return self._step_back(points, toward, 150.0 * 1.03 ** np.arange(110), None, look_at, roll, (width, height, f, cx, cy), orientation,
                               view.get("fill", self.recipe["fill"]))

    def _to_show_from(self, side):
        """The tube's end on that side and the pieces' pages."""
        a = np.linspace(0, 2 * np.pi, 12)
        ring = self.tube * np.stack([np.cos(a), np.sin(a), 0 * a], -1)
        z = 0.0 if side < 0 else self.boss_mm
        return np.concatenate([ring + np.array([0, 0, z])] + [s.mesh()[0].reshape(-1, 3) for s in self.sheets])

    def wanted(self):
        return {"machine.dipper.gap": round(self.pins[0]["gap"], 4)}
