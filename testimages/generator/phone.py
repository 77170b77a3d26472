"""From the ray tracer's pinhole picture to a phone's JPEG: lens, aperture, sensor and picture pipeline.

Everything up to the tone curve works in linear light.
"""
import io
import struct

import numpy as np
from PIL import Image

from lens import undistort

PUPIL_MM = 1.0  # radius of the entrance pupil, about that of a phone's main camera


def read_ppm(path):
    """16-bit or 8-bit binary PPM as float32 0..1."""
    with open(path, "rb") as file:
        data = file.read()
    fields, at = [], 0
    while len(fields) < 4:
        end = data.index(b"\n", at)
        line = data[at:end].split(b"#")[0]
        fields += line.split()
        at = end + 1
    width, height, top = (int(x) for x in fields[1:4])
    kind = ">u2" if top > 255 else "u1"
    return (np.frombuffer(data, kind, width * height * 3, at).reshape(height, width, 3) / np.float32(top)).astype(np.float32)


def gauss(image, sigma):
    """Separable Gaussian blur with repeated borders."""
    if sigma < 0.05:
        return image
    n = int(np.ceil(3.5 * sigma))
    weights = np.exp(-0.5 * (np.arange(-n, n + 1) / sigma) ** 2).astype(np.float32)
    weights /= weights.sum()
    for axis in (0, 1):
        pad = [(0, 0)] * image.ndim
        pad[axis] = (n, n)
        wide = np.pad(image, pad, mode="edge")
        length = image.shape[axis]
        image = sum(w * wide[(slice(None),) * axis + (slice(k, k + length),)] for k, w in enumerate(weights))
    return image


def sample(image, x, y):
    """Cubic convolution (Keys, a = -1/2) at float pixel positions; positions outside repeat the border."""
    height, width = image.shape[:2]
    ix, iy = np.floor(x).astype(int), np.floor(y).astype(int)
    fx, fy = (x - ix).astype(np.float32), (y - iy).astype(np.float32)

    def taps(t):
        return (((-0.5 * t + 1) * t - 0.5) * t, (1.5 * t - 2.5) * t * t + 1, ((-1.5 * t + 2) * t + 0.5) * t, (0.5 * t - 0.5) * t * t)
    total = np.zeros(x.shape + image.shape[2:], np.float32)
    for j, wy in enumerate(taps(fy)):
        row = np.clip(iy + j - 1, 0, height - 1)
        for i, wx in enumerate(taps(fx)):
            weight = wx * wy
            total += image[row, np.clip(ix + i - 1, 0, width - 1)] * (weight[..., None] if image.ndim == 3 else weight)
    return total


def resize_to(image, height, width):
    """Picture of the same field at another size (pixel areas, not centres, coincide)."""
    y = (np.arange(height) + 0.5) * image.shape[0] / height - 0.5
    x = (np.arange(width) + 0.5) * image.shape[1] / width - 0.5
    return np.concatenate([sample(image, *np.meshgrid(x, part)) for part in np.array_split(y, max(1, height // 200))])


def defocus_sigma(distance, focus, f):
    """Sd in pixels of the blur disc (radius/2) of things at a distance when the lens is focused at another."""
    return f * PUPIL_MM * np.abs(1 / np.maximum(distance, 50.0) - 1 / focus) / 2


def depth_of_field(near, distance, focus, f, lens_sigma):
    """Blur by lens and aperture, varying over the picture: blend of a few constant blurs."""
    wanted = np.sqrt(lens_sigma ** 2 + defocus_sigma(distance, focus, f) ** 2)
    wanted = np.minimum(wanted, 6 * lens_sigma)
    top = float(np.percentile(wanted, 99.9))
    levels = [lens_sigma]
    while levels[-1] < top:
        levels.append(levels[-1] * 1.35)
    out = gauss(near, levels[0])
    for low, high in zip(levels, levels[1:]):
        blend = np.clip((wanted - low) / (high - low), 0, 1)[..., None]
        if blend.max() > 0:
            out = out * (1 - blend) + gauss(near, high) * blend
    return out


def through_lens(pinhole, camera, f_render):
    """Distorted picture of the stored frame; the pinhole picture's principal point is its middle."""
    cy, cx = (pinhole.shape[0] - 1) / 2, (pinhole.shape[1] - 1) / 2
    rows = []
    for part in np.array_split(np.arange(camera.height), max(1, camera.height // 100)):
        u, v = np.meshgrid(np.arange(camera.width), part)
        xy = np.stack([(u - camera.cx) / camera.f, (v - camera.cy) / camera.f], -1)
        xy = undistort(xy, camera.dist, 12) * f_render
        rows.append(sample(pinhole, xy[..., 0] + cx, xy[..., 1] + cy))
    return np.concatenate(rows)


def half_extent(camera):
    """Half width and height of the pinhole field, in units of the focal length, that the distorted frame needs."""
    w, h, n = camera.width - 1, camera.height - 1, 200
    s = np.linspace(0, 1, n)
    border = np.concatenate([np.stack([s * w, 0 * s], -1), np.stack([s * w, 0 * s + h], -1), np.stack([0 * s, s * h], -1), np.stack([0 * s + w, s * h], -1)])
    xy = undistort((border - [camera.cx, camera.cy]) / camera.f, camera.dist)
    return np.abs(xy).max(0)


def expose(image, rng, vignette, noise):
    """Exposure, white balance, vignetting and sensor noise (shot and read), a little correlated as after demosaicing."""
    height, width = image.shape[:2]
    y, x = np.ogrid[-1:1:height * 1j, -1:1:width * 1j]
    image = image * (1 - vignette * (x * x + y * y) / 2).astype(np.float32)[..., None]
    luma = image @ np.array([0.25, 0.6, 0.15], np.float32)
    gain = min(0.20 / luma.mean(), 0.78 / np.percentile(luma, 97)) * (1 + rng.uniform(-0.06, 0.06))
    image = image * gain * (1 + rng.uniform(-0.02, 0.02, 3)).astype(np.float32)
    sd = noise * np.sqrt(0.0011 * np.maximum(image, 0) * 0.25 + 0.0016 ** 2).astype(np.float32)
    grain = rng.standard_normal(image.shape, np.float32)
    grain = gauss(grain, 0.55)
    return np.clip(image + sd * grain / grain.std(), 0, None)


def denoise(image, strength):
    """Mild noise reduction: luma smoothed where flat, colour smoothed everywhere."""
    luma = image @ np.array([0.25, 0.6, 0.15], np.float32)
    colour = image - luma[..., None]
    soft = gauss(luma, 1.2)
    keep = 1 - np.exp(-((luma - soft) / (strength * np.sqrt(np.maximum(soft, 0.001)))) ** 2)
    return (soft + (luma - soft) * keep)[..., None] + gauss(colour, 1.8)


def tone(image, contrast, saturation=1.1):
    """sRGB curve, an S-curve on top, some saturation."""
    image = np.clip(image, 0, 1)
    image = np.where(image <= 0.0031308, 12.92 * image, 1.055 * image ** (1 / 2.4) - 0.055)
    image = image * (1 - contrast) + contrast * image * image * (3 - 2 * image)
    luma = image @ np.array([0.299, 0.587, 0.114], np.float32)
    return luma[..., None] + saturation * (image - luma[..., None])


def sharpen(image, amount, sigma):
    luma = image @ np.array([0.299, 0.587, 0.114], np.float32)
    return image + amount * (luma - gauss(luma, sigma))[..., None]


def exif(model, orientation, focal35, width, height):
    """Big-endian TIFF with IFD0 (maker's model, orientation) and the Exif IFD, as Exif's APP1 payload."""
    make, name = b"Invented\0", model.encode() + b"\0"

    def entry(tag, kind, count, value):
        return struct.pack(">HHI", tag, kind, count) + value

    def short(v):
        return struct.pack(">HH", v, 0)
    data_at = 8 + 2 + 4 * 12 + 4
    exif_at = data_at + len(make) + len(name)
    exif_at += exif_at % 2
    ifd0 = struct.pack(">H", 4) + entry(0x010F, 2, len(make), struct.pack(">I", data_at)) + entry(
        0x0110, 2, len(name), struct.pack(">I", data_at + len(make))) + entry(0x0112, 3, 1, short(orientation)) + entry(
        0x8769, 4, 1, struct.pack(">I", exif_at)) + b"\0\0\0\0"
    rational_at = exif_at + 2 + 4 * 12 + 4
    sub = struct.pack(">H", 4) + entry(0x920A, 5, 1, struct.pack(">I", rational_at)) + entry(
        0xA002, 4, 1, struct.pack(">I", width)) + entry(0xA003, 4, 1, struct.pack(">I", height)) + entry(
        0xA405, 3, 1, short(focal35)) + b"\0\0\0\0" + struct.pack(">II", round(focal35 * 16.5), 100)
    body = (make + name).ljust(exif_at - data_at, b"\0")
    return b"Exif\0\0MM\0*" + struct.pack(">I", 8) + ifd0 + body + sub


def jpeg(image, path, quality, exif_bytes):
    out = io.BytesIO()
    Image.fromarray(np.clip(image * 255 + 0.5, 0, 255).astype(np.uint8)).save(
        out, "JPEG", quality=quality, subsampling=2, optimize=True, exif=exif_bytes)
    with open(path, "wb") as file:
        file.write(out.getvalue())
