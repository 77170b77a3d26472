"""A job that looks into the gap between a pair of ears: bushes that stand out inwards, pins across or empty bores, a
cross plate that carries the printed piece. Same world as scene.py (x right, y down, z away), but z = 0 is the inward side of
the near ear plate, z = ear_gap that of the far one, and the viewer looks down between them. The scenario is invented."""
import numpy as np

import kit
import parts
from lens import Camera, look_at, stored_rotation
from scene import Scene

GAP_DEFAULTS = dict(across=["dipper", "link"], height=[3.0, 9.0], bush_chamfer=[0.5, 2.2], bevel=[0.5, 1.2], bush_wall=[8.0, 14.0], play=[0.2, 0.6],
                    pin=[45.0, 80.0], depth=[1.0, 1.5], painted=True, cross_tilt_deg=0.4, coaxial_mm=0.15)
VIEWS = [dict(az=-10, el=16, show="dipper"), dict(az=8, el=-16, show="both"), dict(az=20, el=14, show="both")]


class GapScene(Scene):
    def _pins(self):
        r, v, rng = self.recipe, self.draw.value, self.draw.rng
        for key, value in GAP_DEFAULTS.items():
            r.setdefault(key, value)
        r.setdefault("photos", VIEWS)
        self.gap_mm = r["ear_gap"] = v(r["ear_gap"])  # as drawn, for the truth
        self.bush_looks = rng.random() < 0.5
        half = v(r["centres"]) / 2
        self.centres = 2 * half
        self.line = 0.0
        self.pin_mm = v(r["pin"])
        for role, sign in (("dipper", 1), ("link", -1)):
            self._pair(role, np.array([sign * half, 0.0, 0.0]))

    def _pair(self, role, point):
        """Both ears' bushes of one pin, and the pin if it is there."""
        r, v, rng = self.recipe, self.draw.value, self.draw.rng
        axis = self._axis(np.radians(r["parallel_deg"]))
        pin_mm = self.pin_mm if rng.random() < 0.6 else self.pin_mm * rng.uniform(0.85, 1.0)
        wall, faces, looks = v(r["bush_wall"]), [], self._looks(rng.uniform(0.85, 1.15), r["dirt"])
        for ear, at, sign in (("near", 0.0, -1.0), ("far", self.gap_mm, 1.0)):
            spec = dict(height_mm=v(r["height"]), bush_mm=pin_mm + 2 * wall, chamfer_mm=v(r["bush_chamfer"]), bevel_mm=v(r["bevel"]),
                        bore_mm=pin_mm + v(r["play"]))
            foot = point + axis * (at / axis[2]) + np.array([*rng.normal(0, r["coaxial_mm"], 2), 0])
            self._bush(role, ear, spec, foot, sign * axis)
            faces.append(foot - spec["height_mm"] * sign * axis)
        across = role in r["across"]
        if across:
            play = rng.uniform(-0.5, 0.5, 2) * 0.1
            start = point + np.array([*play, 0])
            z0, z1 = -0.9 * r["ear_mm"], self.gap_mm + 0.9 * r["ear_mm"]
            text = "object { %s TurnedFlank(%s) %s }" % (parts.frustum(z0, pin_mm / 2, z1, pin_mm / 2), looks, parts.place(start, axis))
            self.near.append(text)
            self.solids.append(parts.Turned(start, axis, [(z0, pin_mm / 2), (z1, pin_mm / 2)]))
        spec = dict(pin_mm=round(pin_mm, 3), bush_mm=round(pin_mm + 2 * wall, 3), across=across)
        self.pins.append(dict(role=role, spec=spec, point=point, axis=axis, bush_point=point, bush_axis=axis, proud=0.0, front=0.0, height=0.0, inner=0.0,
                              gap=float((faces[1] - faces[0]) @ axis), big=spec["bush_mm"] / 2))

    def _bush(self, role, ear, s, foot, axis):
        """`axis`: into the ear. The face at local z = -height; its wall and chamfer are painted or bare."""
        h, ro, c, rb, ib, back = s["height_mm"], s["bush_mm"] / 2, s["chamfer_mm"], s["bore_mm"] / 2, s["bevel_mm"], self.recipe["ear_mm"] * 0.98
        bare = "BareSteel(%s)" % self._looks(self.draw.rng.uniform(0.8, 1.1), self.recipe["dirt"])
        wall = "Paint(%s)" % self._paint() if self.recipe["painted"] else bare
        hole = [parts.frustum(-h - 1, rb + ib + 1, -h + ib, rb), parts.frustum(-h - 1, rb, back + 1, rb)]
        skin = 0.01
        outer = "union { %s %s }" % (parts.frustum(-h + skin, ro - c + skin, -h + c, ro), parts.frustum(-h + c, ro, 0.5, ro))
        self.near.append("object { %s %s %s }" % (parts.bored(outer, hole), wall, parts.place(foot, axis)))
        self.near.append("object { %s %s %s }" % (parts.bored(parts.frustum(-h, ro - c, -h + skin, ro - c + skin), hole), bare, parts.place(foot, axis)))
        lining = parts.bored(parts.frustum(-h + skin, rb + ib, back, rb + ib + 0.2), hole)
        self.near.append("object { %s %s %s }" % (lining, bare, parts.place(foot, axis)))
        solid = parts.Turned(foot, axis, [(-h, ro - c), (-h + c, ro), (back, ro)], [(-h, rb + ib), (-h + ib, rb), (back, rb)])
        self.solids.append(solid)
        for edge, z, radius in (("bush", -h + c, ro), ("bush-face", -h, ro - c), ("bush-bore", -h, rb + ib)):
            self.circles.append({**solid.circle(role, edge, z, radius), "ear": ear})

    # -- ears and the cross plate --------------------------------------------------------------------------------------
    def _plates(self):
        r, v, rng = self.recipe, self.draw.value, self.draw.rng
        c, ear = self.centres, r["ear_mm"]
        big = max(p["big"] for p in self.pins)
        self.depth = v(r["depth"]) * big + 10
        corners = [(*p["point"][:2], p["big"] * rng.uniform(1.25, 1.6) + 4) for p in self.pins]
        reach = 0.5 * c + big * rng.uniform(1.0, 1.6)
        corners += [(sx * 0.95 * reach, self.depth + 40, 12) for sx in (-1, 1)]
        self.outline = parts.hull(corners)
        for z0, z1, side in ((-ear, 0.0, "near"), (self.gap_mm, self.gap_mm + ear, "far")):
            bores = " ".join("cylinder { <%.4f,%.4f,%.3f>, <%.4f,%.4f,%.3f>, %.4f }" % (
                *(p["point"][0], 0, z0 - 1), *(p["point"][0], 0, z1 + 1), p["spec"]["pin_mm"] / 2 + 3.0) for p in self.pins)
            self.near.append("difference { %s %s Paint(%s) }" % (parts.prism(self.outline, z0, z1), bores, self._paint()))
        tilt = np.radians(rng.normal(0, r["cross_tilt_deg"], 2))  # of the plate's normal off the square to the pins, about x and z
        self.down = np.array([tilt[1], 1.0, tilt[0]]) / np.linalg.norm([tilt[1], 1.0, tilt[0]])
        x0, x1 = -reach * rng.uniform(0.75, 1.0), reach * rng.uniform(0.75, 1.0)
        box = "box { <%.3f, -20, -1>, <%.3f, 0, %.3f> Paint(%s)" % (x0, x1, self.gap_mm + 1, self._paint())
        turn = "rotate %.5f*x rotate %.5f*z translate <0, %.4f, 0> }" % (np.degrees(-tilt[0]), np.degrees(tilt[1]), -self.depth)
        self.near.append(box + " " + turn)
        if rng.random() < 0.5:
            for z in (1.5, self.gap_mm - 1.5):
                self.near.append(parts.weld_line((x0, self.depth, z), (x1, self.depth, z), 4.0, int(rng.integers(1, 999))))

    # -- the piece on the cross plate ------------------------------------------------------------------------------------
    def _sheets(self):
        rng, v = self.draw.rng, self.draw.value
        base = v(self.recipe["print_scale"])
        for spec in self.recipe["pieces"]:
            other = base + rng.uniform(-1, 1) * self.recipe["print_difference"]
            at = np.array(spec["at"], float) + rng.uniform(-8, 8, 2)
            turn = np.radians(v(spec.get("turn", [-8, 8])))
            sheet = kit.Sheet(spec["name"], (0, 0, 0), 0.0, (base, other), v(spec.get("sagitta", 0.0)), spec.get("bend", "x"))
            along_x = np.array([1.0, 0, 0]) - self.down * self.down[0]
            along_x /= np.linalg.norm(along_x)
            along_y = np.cross(self.down, along_x)  # towards the viewer's side: -z
            sheet.x_dir = np.cos(turn) * along_x + np.sin(turn) * along_y
            sheet.y_dir = np.cos(turn) * along_y - np.sin(turn) * along_x
            sheet.z_dir = np.cross(sheet.x_dir, sheet.y_dir)
            flat = np.array([at[0], self.depth, 0.5 * self.gap_mm + at[1]])
            # on the plate's tilted surface, the deepest part of the page touching it
            flat[1] -= ((flat - [0, self.depth, 0]) @ self.down) / self.down[1]
            sheet.middle = flat
            points, _ = sheet.mesh()
            sheet.middle = flat - self.down * (((points.reshape(-1, 3) - flat) @ self.down).max() + 0.15)
            self.sheets.append(sheet)
            self._tapes(sheet)

    def _tapes(self, sheet):
        rng = self.draw.rng
        width, height = kit.size(sheet.name)
        mx, my = kit.page_margin(sheet.name)
        colour = rng.choice([[0.62, 0.55, 0.36], [0.55, 0.57, 0.6], [0.12, 0.25, 0.45]])
        for sx, sy in ((-1, -1), (1, -1), (-1, 1), (1, 1)):
            corner = np.array([[width / 2 + sx * (width / 2 + 0.95 * mx), height / 2 + sy * (height / 2 + 0.95 * my)]])
            p = sheet.world(corner)[0] - 0.12 * self.down
            angle = -sx * sy * np.pi / 4
            a = sheet.x_dir * np.cos(angle) + sheet.y_dir * np.sin(angle)
            rows = [a, np.cross(self.down, a), self.down]
            matrix = ", ".join("%.9f" % q for row in rows for q in (row[0], -row[1], row[2])) + ", %.4f, %.4f, %.4f" % (p[0], -p[1], p[2])
            self.near.append("box { <%.3f, %.3f, -0.06>, <%.3f, %.3f, 0.06> Tape(%s, %d) matrix <%s> }" % (
                -0.12 * width, -0.05 * width, 0.12 * width, 0.05 * width, parts.rgb(colour), rng.integers(1, 999), matrix))

    def _clutter(self):
        """Scratches on the cross plate and on the ears' inward sides."""
        rng, c = self.draw.rng, self.centres
        for _ in range(self.recipe.get("scratches", 14)):
            a = np.array([rng.uniform(-0.5, 0.5) * c, self.depth, rng.uniform(0.1, 0.9) * self.gap_mm])
            b = a + np.array([rng.normal(0, 25), 0, rng.normal(0, 25)])
            if rng.random() < 0.4:
                side = rng.integers(0, 2) * self.gap_mm
                a = np.array([rng.uniform(-0.5, 0.5) * c, rng.uniform(0, 0.9) * self.depth, side])
                b = a + np.array([rng.normal(0, 25), rng.normal(0, 8), 0])
            colour = rng.choice([[0.16, 0.07, 0.04], [0.35, 0.33, 0.31]])
            self.near.append("cylinder { %s, %s, 0.3 pigment { rgb %s } finish { ambient 0 diffuse 0.6 } }" % (parts.vec(a), parts.vec(b), parts.rgb(colour)))

    def _light(self, fast=False):
        """Light falls in between the ears from the open sky above, and some from both sides."""
        kind, rng = self.recipe["light"], self.draw.rng
        sun = {"sun": 0.6, "hazy": 0.36, "overcast": 0.22, "shade": 0.1}[kind]
        spread = {"sun": 190, "hazy": 900, "overcast": 9000, "shade": 9000}[kind]
        az, lean = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(10, 40))
        d = np.array([np.cos(az) * np.sin(lean), np.cos(lean), np.sin(az) * np.sin(lean)]) * 20000
        text = "light_source { <%.0f, %.0f, %.0f> rgb %.3f*<1, 0.95, 0.86> area_light %d*x, %d*z, 2, 2 adaptive 0 jitter circular orient }\n" % (*d, sun, spread, spread)
        for x, y, z, level in ((0, 9000, -9000, 0.10), (3000, 9000, 9000, 0.10), (-9000, 6000, 0, 0.06)):
            text += "light_source { <%d, %d, %d> rgb %.3f*<0.85, 0.92, 1.0> shadowless }\n" % (x, y, z, level * rng.uniform(0.6, 1.3))
        return text, ("<0.62, 0.66, 0.70>", "<0.85, 0.86, 0.88>", "<0.80, 0.82, 0.84>", 0.9, 0.5)

    # -- cameras ---------------------------------------------------------------------------------------------------------
    def _camera(self, index, view):
        rng, v = self.draw.rng, self.draw.value
        width, height, f, cx, cy = self._phone(index)
        orientation = view.get("orientation", 1)
        az, el = (np.radians(v(view[k]) + rng.uniform(-4, 4)) for k in ("az", "el"))
        toward = np.array([np.sin(az) * np.cos(el), -np.cos(az) * np.cos(el), -np.sin(el)])
        roll = np.radians(v(view.get("roll", 0)) + rng.uniform(-8, 8))
        points = self._shown(view.get("show", "both"))
        between = 0.2 * self.gap_mm, 0.8 * self.gap_mm  # both inward faces are seen from inside
        return self._step_back(points, toward, 0.5 * self.gap_mm * 1.03 ** np.arange(90), between, self._look, roll,
                               (width, height, f, cx, cy), orientation, view.get("fill", self.recipe["fill"]))

    def _step_back(self, points, toward, distances, between, look, roll, phone, orientation, fill):
        """The nearest camera in that direction that has all the points in the picture; `between`: limits of its place along the pins, or None."""
        width, height, f, cx, cy = phone
        middle = (points.min(0) + points.max(0)) / 2
        for distance in distances:
            position = middle + distance * toward
            if between:
                position[2] = np.clip(position[2], *between)
            target = middle
            for _ in range(12):  # aim at the middle of what is seen
                R = stored_rotation(orientation) @ look(position, target, roll)
                camera = Camera(width, height, f, cx, cy, self.dist, R, -R @ position, orientation)
                if ((points - position) @ R[2]).min() < 0.15 * distance:
                    break
                seen = camera.stored(points)
                off = (seen.min(0) + seen.max(0)) / 2 - np.array([width, height]) * 0.5
                if ((seen.max(0) - seen.min(0)) < np.array([width, height]) * fill).all() and np.abs(off).max() < 0.01 * width:
                    return camera
                target = target + 0.6 * (R.T @ np.array([*off, 0]) * (np.linalg.norm(position - target) / f))
        raise ValueError("no place for the camera")

    @staticmethod
    def _look(position, target, roll):
        """Looking down with the far ear up in the picture."""
        z = (target - position) / np.linalg.norm(target - position)
        x = np.cross(z, [0, 0, 1.0])
        x = -x / np.linalg.norm(x) if x[0] < 0 else x / np.linalg.norm(x)
        y = np.cross(z, x)
        c, s = np.cos(roll), np.sin(roll)
        return np.stack([c * x + s * y, -s * x + c * y, z])

    def _shown(self, what):
        a = np.linspace(0, 2 * np.pi, 12)
        ring = np.stack([np.cos(a), np.sin(a), 0 * a], -1)
        pins = [p for p in self.pins if what in ("both", p["role"])]
        rims = [p["point"] + p["big"] * ring + np.array([0, 0, z]) for p in pins for z in (0.0, self.gap_mm)]
        return np.concatenate(rims + [s.mesh()[0].reshape(-1, 3) for s in self.sheets])

    def wanted(self):
        return {"attachment.%s.gap" % p["role"]: round(p["gap"], 4) for p in self.pins}
