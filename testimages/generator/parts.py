"""The invented machine parts as POV-Ray text, with the circles that they show.

POV-Ray's frame is left-handed with y up: a world point (x, y, z) is written (x, -y, z). Turned parts are written in a
local frame whose z axis is their own axis, pointing away from the viewer as the world's z does, and placed by a matrix.
"""
import numpy as np


def vec(p):
    return "<%.9f, %.9f, %.9f>" % (p[0], -p[1], p[2])


def rgb(c):
    return "<%.4f, %.4f, %.4f>" % tuple(c)


def place(point, axis):
    """Matrix that puts the local z axis on a world axis."""
    z = np.array([axis[0], -axis[1], axis[2]])
    x = np.array([1.0, 0, 0]) - z * z[0]
    x /= np.linalg.norm(x)
    rows = [x, np.cross(z, x), z, [point[0], -point[1], point[2]]]
    return "matrix <%s>" % ", ".join("%.9f" % v for row in rows for v in row)


def frustum(z0, r0, z1, r1):
    if abs(r0 - r1) < 1e-9:
        return "cylinder { <0,0,%.6f>, <0,0,%.6f>, %.6f }" % (z0, z1, r0)
    return "cone { <0,0,%.6f>, %.6f, <0,0,%.6f>, %.6f }" % (z0, r0, z1, r1)


def bored(solid, bores):
    bores = [b for b in bores if b]
    return "difference { %s %s }" % (solid, " ".join(bores)) if bores else solid


class Turned:
    """A solid of revolution on a world axis: a list of (z, radius) from the front backwards, and a bore of the same form."""

    def __init__(self, point, axis, profile, bore=()):
        self.point, self.axis = np.asarray(point, float), np.asarray(axis, float)
        self.profile, self.bore = np.asarray(profile, float), np.asarray(bore, float)

    def hides(self, point, eye, reach_mm=260.0, skin_mm=0.02):
        """True where the straight line from a world point to the eye passes through the solid."""
        toward = (eye - point) / np.linalg.norm(eye - point)
        steps = np.concatenate([np.linspace(0.05, 3, 200), np.linspace(3, reach_mm, 2600)])
        rel = point + steps[:, None] * toward - self.point
        z = rel @ self.axis
        r = np.linalg.norm(rel - z[:, None] * self.axis, axis=1)
        inside = (z > self.profile[0, 0] + skin_mm) & (z < self.profile[-1, 0]) & (r < np.interp(z, *self.profile.T) - skin_mm)
        if len(self.bore):
            inside &= r > np.interp(z, *self.bore.T) + skin_mm
        return bool(inside.any())

    def circle(self, pin, edge, z, radius):
        return {"pin": pin, "edge": edge, "ear": "near", "centre": (self.point + z * self.axis).tolist(),
                "normal": (-self.axis).tolist(), "radius": float(radius)}


def domed(radius, length, front_z, rounded):
    """A part of a ball that meets the cylinder in an edge or, rounded, half an ellipsoid that runs into it without one: POV text, profile."""
    if rounded:
        ball = "sphere { 0, 1 scale <%.6f, %.6f, %.6f> translate <0, 0, %.6f> }" % (radius, radius, length, front_z + length)
        heights = front_z + length * (1 - np.cos(np.linspace(0, np.pi / 2, 60)))
        radii = radius * np.sqrt(np.maximum(1 - ((front_z + length - heights) / length) ** 2, 0))
    else:
        sphere = (radius * radius + length * length) / (2 * length)
        ball = "sphere { <0,0,%.6f>, %.6f }" % (front_z + sphere, sphere)
        heights = front_z + np.linspace(0, 1, 40) * length
        radii = np.sqrt(np.maximum(sphere ** 2 - (front_z + sphere - heights) ** 2, 0))
    text = "intersection { %s cylinder { <0,0,%.6f>, <0,0,%.6f>, %.6f } }" % (ball, front_z - 1, front_z + length, radius)
    return text, list(zip(heights, radii))


def pin_end(role, spec, point, axis, front_z, back_z, looks):
    """The pin with its end at local z = front_z (negative is towards the viewer): POV text, solid, circles."""
    rp, c, rf = spec["pin_mm"] / 2, spec["chamfer_length_mm"], spec["face_mm"] / 2
    end, texts = spec["end"], []
    flank, face = "TurnedFlank(%s)" % looks, "TurnedFace(%s)" % looks
    centre_hole = "cone { <0,0,%.4f>, %.4f, <0,0,%.4f>, 0.3 }" % (front_z - 0.1, 0.09 * rp + 0.6, front_z + 0.14 * rp)
    if "drill_mm" in spec:  # a bore of this diameter instead of the lathe's centre; 0: none
        centre_hole = "cylinder { <0,0,%.4f>, <0,0,%.4f>, %.4f }" % (front_z - 0.1, front_z + 60, spec["drill_mm"] / 2) if spec["drill_mm"] else ""
    if end == "dome":
        ball, profile = domed(rp, c, front_z, spec.get("round", False))
        texts.append("object { %s %s }" % (bored(ball, [centre_hole]), face))
        profile.append((back_z, rp))
    else:
        skin = 0.002  # the face is a thin slab of its own so that its grooves run round
        slope = (rp - rf) / c
        texts.append("object { %s %s }" % (bored(frustum(front_z, rf, front_z + skin, rf + slope * skin), [centre_hole]), face))
        cone = frustum(front_z + skin, rf + slope * skin, front_z + c, rp)
        texts.append("object { %s %s }" % (bored(cone, [centre_hole]), flank))
        profile = [(front_z, rf), (front_z + c, rp), (back_z, rp)]
    body = frustum(front_z + c, rp, back_z, rp)
    texts.append("object { %s %s }" % (bored(body, [centre_hole]) if c < 0.15 * rp or "drill_mm" in spec else body, flank))
    solid = Turned(point, axis, profile)
    circles = [solid.circle(role, "pin", front_z + c, rp)]
    if end != "dome":
        circles.append(solid.circle(role, "pin-face", front_z, rf))
    return "union { %s %s }" % ("\n".join(texts), place(point, axis)), [solid], circles


def ring_part(role, edge, point, axis, z0, z1, radius, bore, bevel, texture):
    """Collar, cap or bush without inner bevel: a ring with a bevelled front edge."""
    solid = "union { %s %s }" % (frustum(z0, radius - bevel, z0 + bevel, radius), frustum(z0 + bevel, radius, z1, radius))
    if bore > 0:
        solid = bored(solid, [frustum(z0 - 1, bore, z1 + 1, bore)])
    part = Turned(point, axis, [(z0, radius - bevel), (z0 + bevel, radius), (z1, radius)], [(z0, bore), (z1, bore)] if bore > 0 else ())
    return "object { %s %s %s }" % (solid, texture, place(point, axis)), [part], [part.circle(role, edge, z0 + bevel, radius)]


def bush(role, spec, point, axis, back_z, looks):
    """Bush with outer chamfer, flat face, inner bevel and bore; the face at local z = -height."""
    h, ro, c, rb, ib = spec["height_mm"], spec["bush_mm"] / 2, spec["chamfer_mm"], spec["bore_mm"] / 2, spec["bevel_mm"]
    outer = "union { %s %s }" % (frustum(-h, ro - c, -h + c, ro), frustum(-h + c, ro, back_z, ro))
    hole = [frustum(-h - 1, rb + ib + 1, -h + ib, rb), frustum(-h - 1, rb, back_z + 1, rb)]
    solid = Turned(point, axis, [(-h, ro - c), (-h + c, ro), (back_z, ro)], [(-h, rb + ib), (-h + ib, rb), (back_z, rb)])
    text = "object { %s BareSteel(%s) %s }" % (bored(outer, hole), looks, place(point, axis))
    circles = [solid.circle(role, "bush", -h + c, ro), solid.circle(role, "bush-face", -h, ro - c),
               solid.circle(role, "bush-bore", -h, rb + ib)]
    return text, [solid], circles


def o_ring(role, point, axis, face_z, radius, thick):
    """Rubber ring on the pin against the bush face: a torus, whose widest circle is recorded (its outline is that only from straight ahead)."""
    z, r = face_z - thick / 2, thick / 2
    text = "torus { %.6f, %.6f rotate 90*x translate <0,0,%.6f> Rubber(%d) %s }" % (radius + r, r, z, int(1000 * radius) % 900, place(point, axis))
    arc = np.linspace(-np.pi / 2, np.pi / 2, 40)
    part = Turned(point, axis, np.stack([z + r * np.sin(arc), radius + r + r * np.cos(arc)], -1))
    return text, [part], [part.circle(role, "ring", z, radius + thick)]


class Lumps:
    """Lumps of mud or grease: balls (n, 4 world x, y, z, radius) that hide what lies behind them."""

    def __init__(self, balls):
        self.balls = np.asarray(balls, float)

    def hides(self, point, eye):
        toward = (eye - point) / np.linalg.norm(eye - point)
        rel = self.balls[:, :3] - point
        along = rel @ toward
        off = (rel ** 2).sum(1) - along ** 2
        inside = (rel ** 2).sum(1) < self.balls[:, 3] ** 2
        return bool((inside | ((along > 0) & (off < self.balls[:, 3] ** 2))).any())

    def text(self, material):
        return "union { %s %s }" % ("\n".join("sphere { %s, %.4f }" % (vec(b[:3]), b[3]) for b in self.balls), material)


def smear(point, front_z, height, inner, outer, angle, span, size, rng):
    """Balls of a lump that covers an arc of a pin's end and bush, from the radius inner to outer, as mud lies there."""
    balls = []
    for _ in range(int(max(8, span * (inner + outer) / 2 * (outer - inner) / (0.16 * size * size)))):
        t, r = angle + span * (rng.beta(2, 2) - 0.5), rng.uniform(inner, outer)
        z = front_z if r < point["pin"] / 2 else (-height if r < point["bush"] / 2 else 0.0)
        radius = size * rng.uniform(0.3, 1.0)
        x, y = point["at"][:2] + r * np.array([np.cos(t), np.sin(t)])
        balls.append((x, y, z + 0.5 * radius, radius))
    return Lumps(balls)


def weld_ring(point, radius, size, seed):
    """Bead round a bush's foot: beads laid one over the other."""
    rng = np.random.default_rng(seed)
    beads = []
    n = max(24, int(2 * np.pi * radius / (0.9 * size)))
    for k in range(n):
        a = 2 * np.pi * k / n
        r = radius + rng.normal(0, 0.12) * size * 0.5
        beads.append("sphere { 0, %.3f scale <1, 1, 0.55> translate <%.4f, %.4f, 0> }" % (
            size * rng.uniform(0.85, 1.1), point[0] + r * np.cos(a), -point[1] + r * np.sin(a)))
    return "union { %s WeldSkin(%d) }" % ("\n".join(beads), seed)


def weld_line(a, b, size, seed):
    rng = np.random.default_rng(seed)
    a, b = np.asarray(a, float), np.asarray(b, float)
    n = max(2, int(np.linalg.norm(b - a) / (0.8 * size)))
    beads = ["sphere { %s, %.3f }" % (vec(a + (b - a) * k / n + rng.normal(0, 0.06 * size, 3)), size * rng.uniform(0.85, 1.1))
             for k in range(n + 1)]
    return "union { %s WeldSkin(%d) }" % ("\n".join(beads), seed)


def prism(outline, z0, z1):
    """Plate of a closed outline (n, 2 world x, y) between world z0 and z1."""
    points = list(outline) + [outline[0]]
    text = ", ".join("<%.4f, %.4f>" % (p[0], -p[1]) for p in points)
    return "prism { linear_spline linear_sweep %.5f, %.5f, %d, %s matrix <1,0,0, 0,0,1, 0,1,0, 0,0,0> }" % (z0, z1, len(points), text)


def hull(circles, n=96):
    """Outline round discs (x, y, r): convex hull, anticlockwise."""
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    points = sorted({(round(x + r * c, 5), round(y + r * s, 5)) for x, y, r in circles for c, s in zip(np.cos(a), np.sin(a))})

    def half(seq):
        out = []
        for p in seq:
            while len(out) > 1 and (out[-1][0] - out[-2][0]) * (p[1] - out[-2][1]) <= (out[-1][1] - out[-2][1]) * (p[0] - out[-2][0]):
                out.pop()
            out.append(p)
        return out[:-1]
    return half(points) + half(points[::-1])


def bolt(x, y, size, turn, looks, washer=True, z=0.0):
    """Hexagon bolt head of the given width across flats on a washer, on the plane z."""
    base = z - (0.18 * size if washer else 0)
    angles = turn + np.arange(6) * np.pi / 3
    hexagon = [(x + size / np.sqrt(3) * np.cos(t), y + size / np.sqrt(3) * np.sin(t)) for t in angles]
    head = prism(hexagon, base - 0.62 * size, base)
    crown = "cone { <%.4f, %.4f, %.4f>, %.4f, <%.4f, %.4f, %.4f>, %.4f }" % (x, -y, base - 0.65 * size, 0.46 * size, x, -y, base, 1.6 * size)
    text = "intersection { %s %s BareSteel(%s) }" % (head, crown, looks)
    if washer:
        text += "\ndifference { cylinder { <%.4f,%.4f,%.4f>, <%.4f,%.4f,%.4f>, %.4f } cylinder { <%.4f,%.4f,-99>, <%.4f,%.4f,9>, 0.5 } BareSteel(%s) }" % (
            x, -y, base, x, -y, z + 1, 1.05 * size, x, -y, x, -y, looks)
    return text


def sheet_mesh(sheet, bitmap, dirt, seed):
    points, uv = sheet.mesh()
    ny, nx = points.shape[:2]
    flat, tex = points.reshape(-1, 3), uv.reshape(-1, 2)
    faces = []
    for j in range(ny - 1):
        for i in range(nx - 1):
            a = j * nx + i
            faces += [(a, a + 1, a + nx + 1), (a, a + nx + 1, a + nx)]
    return "mesh2 { vertex_vectors { %d, %s } uv_vectors { %d, %s } face_indices { %d, %s } uv_indices { %d, %s } Paper(\"%s\", %.3f, %d) }" % (
        len(flat), ", ".join(vec(p) for p in flat), len(tex), ", ".join("<%.8f, %.8f>" % tuple(t) for t in tex),
        *(len(faces), ", ".join("<%d,%d,%d>" % f for f in faces)) * 2, bitmap, dirt, seed)


def strip(centre, along, width, x_dir, z, colour, seed):
    """A piece of tape: thin box."""
    angle = np.degrees(np.arctan2(-x_dir[1], x_dir[0]))
    return "box { <%.3f, %.3f, -0.06>, <%.3f, %.3f, 0.06> Tape(%s, %d) rotate %.3f*z translate %s }" % (
        -along / 2, -width / 2, along / 2, width / 2, rgb(colour), seed, angle, vec((centre[0], centre[1], z)))


def scratch(a, b, z, colour):
    return "cylinder { %s, %s, 0.35 pigment { rgb %s } finish { ambient 0 diffuse 0.6 } }" % (vec((*a, z)), vec((*b, z)), rgb(colour))
