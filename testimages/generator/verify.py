"""Checks that a job's photos show what its truth says: verify.py FOLDER... (needs Debian's python3-opencv).

Corners: OpenCV's cornerSubPix, started 2 px beside each true corner, on inverse-sRGB pixels; the rms and the mean
difference are printed. Rims: along the normal of each visible projected circle the steepest step nearby is located;
the median distance from the truth is printed. Edges carry the phone's processing (sharpening, grooves, chamfer light),
so corners are the strict test (rms under 0.1 px) and rims a rough one.
Exit status 1 where a photo's corners miss the limit.
"""
import json
import sys

import cv2
import numpy as np

LIMIT_PX = 0.1  # rms per axis: what cornerSubPix does on a picture of this noise and blur


def linear(path):
    grey = cv2.imread(path, cv2.IMREAD_GRAYSCALE).astype(np.float32) / 255  # upright: OpenCV applies the orientation
    return np.where(grey <= 0.04045, grey / 12.92, ((grey + 0.055) / 1.055) ** 2.4).astype(np.float32)


def corner_differences(image, piece, rng):
    true = np.array(piece["corners"])
    start = (true + rng.choice([-1.5, 1.5], true.shape)).astype(np.float32)
    inside = ((true > 15) & (true < np.array(image.shape[::-1]) - 15)).all(1)
    pitch = np.linalg.norm(true[1] - true[0])
    half = int(np.clip(pitch / 8, 3, 8))
    found = cv2.cornerSubPix(image, start[inside].reshape(-1, 1, 2).copy(), (half, half), (-1, -1), (3, 100, 1e-4))
    return found.reshape(-1, 2) - true[inside]


def rim_offsets(image, circle, reach=5.0):
    """Signed distance (outward positive) from the projected circle to the steepest step across it, at visible points."""
    points, seen = np.array(circle["points"]), np.array(circle["visible"], bool)
    tangent = np.roll(points, -1, 0) - np.roll(points, 1, 0)
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], 1) / np.linalg.norm(tangent, axis=1)[:, None]
    if (normal * (points - points.mean(0))).sum() < 0:
        normal = -normal
    s = np.arange(-reach, reach + 0.01, 0.25)
    where = (points[seen, None] + s[None, :, None] * normal[seen, None]).astype(np.float32)
    profile = cv2.remap(image, where[..., 0], where[..., 1], cv2.INTER_CUBIC)
    slope = np.abs(np.gradient(cv2.GaussianBlur(profile, (0, 0), 2.0, sigmaY=1e-3), axis=1))
    return s[slope.argmax(1)]


def main():
    rng, bad = np.random.default_rng(1), False
    for folder in sys.argv[1:]:
        with open(folder + "/truth.json") as file:
            truth = json.load(file)
        for photo in truth["photos"]:
            image = linear(folder + "/" + photo["file"])
            assert image.shape == (photo["height"], photo["width"]), "size of the upright photo"
            for piece in photo["pieces"]:
                d = corner_differences(image, piece, rng)
                rms = np.sqrt((d ** 2).mean())
                bad |= bool(rms > LIMIT_PX)
                print("%s/%s %s: %d corners, rms %.3f px per axis, mean (%+.3f, %+.3f), worst %.2f" % (
                    folder, photo["file"], piece["name"], len(d), rms, *d.mean(0), np.abs(d).max()))
            for circle in photo["circles"]:
                if sum(circle["visible"]) >= 9:
                    o = rim_offsets(image, circle)
                    print("    %-6s %-9s %2d points, median %+.2f px, middle half within %.2f" % (
                        circle["pin"], circle["edge"], len(o), np.median(o), np.percentile(np.abs(o - np.median(o)), 50)))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
