"""Checks true circles against the traced geometry: verify_rims.py RECIPE SEED PHOTO (from 1); needs python3-opencv.

The scene is traced once more, without lens and phone, with some materials glowing white and all else black: pin faces
alone, whole pins, then pins with bushes and collars. Where white meets black across a projected true circle, the
half-way point is compared with the circle. A face's border is the circle all the way round. An outline follows the
circle of `pin`, `bush` or `collar` only where the cylinder behind it faces away from the camera while the chamfer or
taper before it still faces it: there alone it is compared.
Exit status 1 where a median is over the limit.
"""
import json
import re
import sys
import tempfile

import cv2
import numpy as np

import make
import phone
from scene import Scene

WIDTH, HEIGHT = 1600, 1200
LIMIT_PX = 0.03  # the ray tracer's antialiasing steps are 1/8 px
PASSES = ((["TurnedFace"], ["pin-face"]), (["TurnedFace", "TurnedFlank"], ["pin"]), (["BareSteel", "TurnedFace", "TurnedFlank"], ["bush", "collar", "cap"]))


def trace(folder, plain, white):
    for material in white:
        plain = re.sub(r"(#macro %s\(.*?\)) Black\(\)" % material,
                       r"\1 texture { pigment { rgb 1 } finish { ambient 0 diffuse 0 emission 1 } }", plain)
    with open(folder + "/plain.inc", "w") as file:
        file.write(plain)
    return phone.gauss(make.povray(folder, 4, WIDTH, HEIGHT, 1, make.FINE)[..., 0], 1.0)


def offsets(image, circle, camera, f):
    """Signed distances (outward positive) of the white-black border from the projected circle, in px."""
    n = np.array(circle["normal"])
    x = np.cross(n, [0, 1.0, 0])
    x /= np.linalg.norm(x)
    a = np.arange(720) * np.pi / 360
    radial = np.cos(a)[:, None] * x + np.sin(a)[:, None] * np.cross(n, x)
    points = np.array(circle["centre"]) + circle["radius"] * radial
    view = camera.position - points
    facing = (radial * view).sum(1) / np.linalg.norm(view, axis=1)
    # -0.2: a taper of 1 in 4 still faces a camera that sees the cylinder behind it at that slant
    outline = (facing < 0) & (facing > -0.2) if circle["edge"] != "pin-face" else np.full(len(a), True)
    cam = points @ camera.R.T + camera.t
    px = cam[:, :2] / cam[:, 2:] * f + [(WIDTH - 1) / 2, (HEIGHT - 1) / 2]
    tangent = np.roll(px, -1, 0) - np.roll(px, 1, 0)
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], 1) / np.linalg.norm(tangent, axis=1)[:, None]
    normal *= np.sign((normal * (px - px.mean(0))).sum())
    s = np.arange(-3, 3.01, 0.1)
    where = (px[:, None] + s[None, :, None] * normal[:, None]).astype(np.float32)
    profile = cv2.remap(image, where[..., 0], where[..., 1], cv2.INTER_CUBIC)
    profile = profile[outline & (profile[:, 0] > 0.95) & (profile[:, -1] < 0.05)]
    at = (profile < 0.5).argmax(1)
    row = np.arange(len(profile))
    before, after = profile[row, at - 1], profile[row, at]
    return s[at - 1] + 0.1 * (before - 0.5) / (before - after)


def main():
    with open(sys.argv[1]) as file:
        scene = Scene(json.load(file), int(sys.argv[2]))
    camera, bad = scene.cameras[int(sys.argv[3]) - 1], False
    half = phone.half_extent(camera)
    f = WIDTH / 2 / half[0]
    with open(make.HERE + "/plain.inc") as file:
        plain = file.read()
    with tempfile.TemporaryDirectory() as folder:
        make.write_scene(folder, scene, {})
        with open(folder + "/scene.pov") as file:  # mode 4: no fog, black materials, no paper
            text = file.read().replace("Mode = 1 | Mode = 3", "Mode = 1 | Mode = 3 | Mode = 4")
        with open(folder + "/scene.pov", "w") as file:
            file.write(text)
        with open(folder + "/camera.inc", "w") as file:
            file.write(make.camera_text(camera, np.array([WIDTH, HEIGHT]) / 2 / f, 1.0))
        for white, edges in PASSES:
            image = trace(folder, plain, white)
            for circle in scene.circles:
                if circle["edge"] not in edges:
                    continue
                off = offsets(image, circle, camera, f)
                if len(off) < 36:
                    continue  # hardly any of it is an outline in this view
                bad |= bool(abs(np.median(off)) > LIMIT_PX)
                print("%-6s %-8s border on %3d of 720 rays; median %+.4f px, mean %+.4f, sd %.4f" % (
                    circle["pin"], circle["edge"], len(off), np.median(off), off.mean(), off.std()))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
