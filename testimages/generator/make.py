"""Makes one job of test photos: make.py RECIPE SEED OUTDIR (called by ../generate.sh, which builds tagbits first)."""
import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile

import numpy as np
from PIL import Image

import kit
import misuse
import phone
from boss import BossScene
from gap import GapScene
from parts import vec
from scene import PHONES, Scene

FINE, FAST, ROUGH = ["+A0.12", "+AM2", "+R3", "-J"], ["+A0.3", "+AM2", "+R3", "-J"], ["-A"]  # antialiasing of the ray tracer
HERE = os.path.dirname(os.path.abspath(__file__))


def camera_text(camera, half, f):
    """POV-Ray camera whose middle is the optical axis; half: half extent of the field over the focal length."""
    R = camera.R
    return "camera { perspective location %s direction %s right %s up %s }\n" % (
        vec(camera.position), vec(R[2] * f), vec(R[0] * 2 * half[0] * f), vec(-R[1] * 2 * half[1] * f))


def povray(folder, mode, width, height, threads, smooth):
    out = os.path.join(folder, "mode%d.ppm" % mode)
    args = ["povray", "scene.pov", "+O" + out, "+W%d" % width, "+H%d" % height, "+FP16", "File_Gamma=1.0", "-D", "-GR", "-GS", "-GD", "+WT%d" % threads,
            "Declare=Mode=%d" % mode] + smooth
    done = subprocess.run(args, cwd=folder, capture_output=True, text=True)
    if done.returncode:
        sys.exit(done.stderr[-3000:])
    image = phone.read_ppm(out)
    os.remove(out)
    return image


def write_scene(folder, scene, bitmaps, fast=False, shown=None):
    """Everything but camera.inc; shown: the pieces of this photo and what holds them, where they are not as in the others."""
    for name, bitmap in bitmaps.items():
        # Ink and paper are not black and white. The values are linear: the material reads the file with gamma 1.
        Image.fromarray((7 + (205 - 7) / 255 * bitmap.astype(float)).astype(np.uint8)).save(os.path.join(folder, name + ".png"))
    with open(os.path.join(folder, "scene.pov"), "w") as file:
        file.write(scene.pov({name: name + ".png" for name in bitmaps}, fast, *(shown or (None, None))))
    for name in ("yard.inc", "plain.inc"):
        shutil.copy(os.path.join(HERE, name), folder)


def render(scene, camera, bitmaps, options, rng, shown=None):
    """The stored frame in linear light, before the sensor."""
    over = scene.recipe["oversample"] if not options.draft else 1.0
    with tempfile.TemporaryDirectory() as folder:
        write_scene(folder, scene, bitmaps, options.fast, shown)
        wish = phone.half_extent(camera) * 1.01
        f = camera.f * over
        size = (np.ceil(wish * f * 2 / 4) * 4).astype(int)  # whole pixels, also at a quarter of the size
        with open(os.path.join(folder, "camera.inc"), "w") as file:
            file.write(camera_text(camera, size / 2 / f, 1.0))
        smooth = FAST if options.fast else FINE
        near = povray(folder, 0, *size, options.threads, smooth)
        open_air = povray(folder, 1, *size, options.threads, smooth)[..., :1]
        far = povray(folder, 2, *(size // (4 if options.fast else 2)), options.threads, ROUGH if options.fast else smooth)
        fog = povray(folder, 3, *(size // 4), options.threads, ROUGH)[..., 0]
    distance = -1000 * np.log(np.maximum(1 - fog, 1e-4))
    focus = float(np.median(distance[fog < 0.99]))
    sharp = rng.uniform(0.62, 0.8) * over  # lens and pixel, in rendered pixels
    distance = np.where(fog < 0.99, distance, focus)
    distance = phone.resize_to(phone.gauss(distance.astype(np.float32), 2), size[1], size[0])
    near = phone.depth_of_field(near, distance, focus, f, sharp)
    far = phone.gauss(far, max(np.hypot(phone.defocus_sigma(6000.0, focus, f), sharp) * far.shape[1] / size[0], 0.8 * options.fast))
    picture = near + phone.gauss(open_air, sharp) * phone.resize_to(far, size[1], size[0])
    return phone.through_lens(picture, camera, f), focus


def develop(scene, camera, linear, path, rng, clean=False, view={}):
    """Sensor and picture pipeline, JPEG with EXIF. clean: exposure and sRGB curve alone. view: the photo's keys of the recipe."""
    model = view.get("phone", scene.recipe["phone"])
    p = PHONES[model]
    image = phone.expose(linear, rng, rng.uniform(0.10, 0.2), p["noise"] * (not clean))
    if clean:
        image = phone.tone(image, 0.0, 1.0)
    else:
        image = phone.denoise(image, 0.02 * p["noise"])
        image = phone.tone(image, p["contrast"])
        image = phone.sharpen(image, p["usm"], p["usm_sigma"])
    sensor = np.hypot(camera.width, camera.height) if p["exif35"] == "diagonal" else camera.width
    film = np.hypot(36, 24) if p["exif35"] == "diagonal" else 36.0
    focal35 = view.get("exif35", round((camera.f if "phone" in view else scene.f0) * film / sensor))
    if view.get("mirror") or "stretch" in view:
        camera.mirrored, camera.stretch = bool(view.get("mirror")), tuple(view.get("stretch", (1.0, 1.0)))
        image = image[:, ::-1] if camera.mirrored else image
        image = phone.resize_to(image, *camera.upright_size()[::-1])
    exif = phone.exif(model, camera.orientation, focal35, camera.width, camera.height) if scene.recipe["exif"] else b""
    quality = scene.recipe["quality"] or int(rng.integers(82, 92))
    phone.jpeg(image, path, 98 if clean else quality, exif)


def visible(scene, camera, point, normal):
    """Whether a rim's point lies in the frame, on a side that faces the camera and behind no turned part."""
    px = camera.upright(np.array(point))
    size = camera.upright_size()
    inside = 0 <= px[0] <= size[0] - 1 and 0 <= px[1] <= size[1] - 1
    start = np.array(point) + 0.03 * np.array(normal)
    return bool(inside and not any(s.hides(start, camera.position) for s in scene.solids))


def circle_truth(scene, camera, circle):
    n, c = np.array(circle["normal"]), np.array(circle["centre"])
    x = np.cross(n, [0, 1.0, 0])
    x /= np.linalg.norm(x)
    y = np.cross(n, x)
    a = np.arange(36) * np.pi / 18
    points = c + circle["radius"] * (np.cos(a)[:, None] * x + np.sin(a)[:, None] * y)
    px = camera.upright(points)
    seen = [visible(scene, camera, p, n) for p in points]
    return {**circle, "points": px.round(4).tolist(), "visible": [int(s) for s in seen]}


def wanted(scene):
    """True values under the names of the dimensions (one side only, called attachment)."""
    if hasattr(scene, "wanted"):
        return scene.wanted()
    out = {"attachment.centres": round(scene.centres, 4)}
    for p in scene.pins:
        out["attachment.%s.pin" % p["role"]] = p["spec"]["pin_mm"]
        out["attachment.%s.bush" % p["role"]] = p["spec"]["bush_mm"]
        out["attachment.%s.proud" % p["role"]] = round(p["proud"], 4)
        out["attachment.%s.gap" % p["role"]] = round(p["gap"], 4)
    return out


def job_truth(scene, name, recipe):
    rng, sheets = scene.draw.rng, []
    for s in scene.sheets:
        across, along = kit.ACROSS_MM * s.scale[0], kit.ALONG_MM * s.scale[1]
        sheets.append({"name": s.name, "scale_x": s.scale[0], "scale_y": s.scale[1], "check_across_mm": across, "check_along_mm": along,
                       "read_across_mm": round(across + rng.normal(0, 0.05), 1), "read_along_mm": round(2 * (along + rng.normal(0, 0.2))) / 2,
                       "middle": s.middle.tolist(), "x_direction": s.x_dir.tolist(), "y_direction": s.y_dir.tolist(),
                       "sagitta_200_mm": s.sagitta, "bend_along": s.bend})
    pins = []
    for p in scene.pins:
        pins.append({"role": p["role"], "axis_point": p["point"].tolist(), "axis_direction": p["axis"].tolist(), "pin": p["spec"],
                     "bush_point": p["bush_point"].tolist(), "bush_direction": p["bush_axis"].tolist(), "proud_mm": p["proud"],
                     "gap_mm": p["gap"], "ear_to_ear_mm": scene.recipe["ear_gap"],
                     "standoff_mm": {s.name: float(s.middle[2] - (p["point"] + p["front"] * p["axis"])[2]) for s in scene.sheets}})
    truth = {"schema": "pinspan.testphotos/1", "name": name, "seed": scene.seed, "recipe": recipe, "invented": True,
             "wanted": wanted(scene), "pins": pins, "pieces": sheets, "photos": []}
    if "misuse" in recipe:
        truth["misuse"] = misuse.expected(recipe["misuse"], [n for n in truth["wanted"] if not n.endswith(".gap")])
    for s in sheets:
        for line, factor in (recipe.get("read") or {}).items():
            s["read_%s_mm" % line] = round(s["read_%s_mm" % line] * factor, 1)
    return truth


def photo_truth(scene, camera, file, focus, sheets=None):
    size = camera.upright_size()
    centre = camera.to_upright(np.array([camera.cx, camera.cy]))
    pieces = []
    for s in sheets or scene.sheets:
        px = camera.upright(s.world(kit.corners(s.name)))
        pieces.append({"name": s.name, "corners": px.round(4).tolist()})
    return {"file": file, "width": size[0], "height": size[1], "exif_orientation": camera.orientation, "focus_mm": focus,
            "stored": {"width": camera.width, "height": camera.height, "f": camera.f, "cx": camera.cx, "cy": camera.cy, "k1": camera.dist[0],
                       "k2": camera.dist[1], "p1": camera.dist[2], "p2": camera.dist[3], "k3": camera.dist[4],
                       "R": camera.R.tolist(), "t": camera.t.tolist()},
            "upright": {"f": camera.f, "cx": float(centre[0]), "cy": float(centre[1])},
            "pieces": pieces, "circles": [circle_truth(scene, camera, c) for c in scene.circles]}


def copy_photo(was, folder, file, quality):
    """The same photo once more, saved anew where a quality is given; its truth."""
    old, new = os.path.join(folder, was["file"]), os.path.join(folder, file)
    if quality:
        with Image.open(old) as image:
            image.save(new, "JPEG", quality=quality, subsampling=2, exif=image.getexif())
    else:
        shutil.copy(old, new)
    return {**was, "file": file, "copy_of": was["file"]}


def write_arguments(truth, path):
    """The check lines as a fitter would type them, one option a line."""
    with open(path, "w") as file:
        if any(name.startswith("machine.") for name in truth["wanted"]):
            file.write("--side machine\n")
        for s in truth["pieces"] if truth["recipe"].get("read", {}) is not None else []:
            name = s["name"] + ":" if len(truth["pieces"]) > 1 else ""
            file.write("--print-check %sacross=%g\n--print-check %salong=%g\n" % (name, s["read_across_mm"], name, s["read_along_mm"]))
        if truth["recipe"].get("declare"):  # stand-off as a fitter would measure it with a rule
            for p in truth["pins"]:
                file.write("--standoff %s=%.0f,2\n" % (p["role"], p["standoff_mm"][truth["pieces"][0]["name"]]))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("recipe")
    parser.add_argument("seed", type=int)
    parser.add_argument("outdir")
    parser.add_argument("--tagbits", required=True)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--draft", type=float, default=0, help="width in pixels of quick trial photos")
    parser.add_argument("--only", type=int, help="this photo only (from 1)")
    parser.add_argument("--fast", action="store_true", help="coarser antialiasing, hard sun shadows, background without antialiasing")
    parser.add_argument("--clean", action="store_true", help="no noise, picture pipeline or strong JPEG: for checking the geometry")
    options = parser.parse_args()
    with open(options.recipe) as file:
        recipe = json.load(file)
    if options.draft:
        w, h = recipe.get("size", [1600, 1200])
        recipe["size"] = [int(options.draft), int(options.draft * h / w)]
    scene = {"gap": GapScene, "boss": BossScene}.get(recipe.get("scene"), Scene)(recipe, options.seed)
    name = os.path.basename(os.path.abspath(options.outdir))
    os.makedirs(options.outdir, exist_ok=True)
    bitmaps = {s.name: kit.page_bitmap(s.name, options.tagbits) for i in range(len(scene.cameras)) for s in misuse.scene_of(scene, i).sheets}
    truth = job_truth(scene, name, recipe)
    for i, view in enumerate(scene.views, 1):
        if options.only and i != options.only:
            continue
        file = "photo-%d.jpg" % i
        path = os.path.join(options.outdir, file)
        if "copy_of" in view:
            truth["photos"].append(copy_photo(truth["photos"][view["copy_of"] - 1], options.outdir, file, view.get("quality")))
            continue
        shot = misuse.scene_of(scene, i - 1)
        camera, shown = shot.cameras[i - 1], misuse.sheets_in(shot, i - 1)
        rng = np.random.default_rng([options.seed, i])  # of this photo alone, so that --only makes the same photo
        linear, focus = render(shot, camera, bitmaps, options, rng, shown)
        develop(shot, camera, linear, path, rng, options.clean, view)
        truth["photos"].append(photo_truth(shot, camera, file, focus, shown[0]))
        if shot is not scene:
            truth["photos"][-1]["other_machine"] = wanted(shot)
    with open(os.path.join(options.outdir, "truth.json"), "w") as file:
        json.dump(truth, file, indent=1)
        file.write("\n")
    write_arguments(truth, os.path.join(options.outdir, name + ".args"))


if __name__ == "__main__":
    main()
