"""The printed kit as a bitmap of exact cells, and the curved sheet that carries it.

All lengths in mm of the drawing; the print scale is applied by Sheet. Every edge of a piece lies on a grid of
square/80 (tag cell 7, margin inside a white square 12, square 80 units), so a bitmap drawn on that grid and shown
without interpolation has no rounding at all.
"""
import subprocess

import numpy as np
from PIL import Image, ImageDraw

UNITS = 80  # bitmap pixels a square
PIECES = {  # name: columns, rows, square in mm, first tag id
    "plate-1": (6, 8, 30.0, 0), "plate-2": (6, 8, 30.0, 24),
    "patch-1": (4, 5, 20.0, 48), "patch-2": (4, 5, 20.0, 58), "patch-3": (4, 5, 20.0, 68), "patch-4": (4, 5, 20.0, 78),
    "mini-1": (4, 5, 10.0, 88), "mini-2": (4, 5, 10.0, 98),
}
ACROSS_MM, ALONG_MM = 140.0, 200.0  # check lines of the kit


def size(name):
    columns, rows, square, _ = PIECES[name]
    return columns * square, rows * square


def corners(name):
    """Inner saddle corners (n, 2), row by row."""
    columns, rows, square, _ = PIECES[name]
    return np.array([[c * square, r * square] for r in range(1, rows) for c in range(1, columns)], float)


def page_margin(name):
    """White border left and right, above and below the squares: a whole A4 page for a plate, else cut at half a square."""
    columns, rows, square, _ = PIECES[name]
    if name.startswith("plate"):
        return (210.0 - columns * square) / 2, (297.0 - rows * square) / 2
    return square / 2, square / 2


def _tags(tagbits, first, count):
    lines = subprocess.run([tagbits, str(first), str(count)], check=True, capture_output=True, text=True).stdout
    return {int(i): np.array(list(cells), int).reshape(8, 8) for i, cells in (line.split() for line in lines.splitlines())}


def page_bitmap(name, tagbits):
    """Greys 0 or 255 of the whole page, UNITS pixels a square."""
    columns, rows, square, first = PIECES[name]
    mx, my = (round(m / square * UNITS) for m in page_margin(name))
    page = np.full((rows * UNITS + 2 * my, columns * UNITS + 2 * mx), 255, np.uint8)
    tags, next_id = _tags(tagbits, first, columns * rows // 2), first
    for r in range(rows):
        for c in range(columns):
            y, x = my + r * UNITS, mx + c * UNITS
            if (c + r) % 2 == 0:
                page[y:y + UNITS, x:x + UNITS] = 0
                continue
            cells = np.kron(tags[next_id], np.ones((7, 7), int)) * 255
            page[y + 12:y + 68, x + 12:x + 68] = cells
            next_id += 1
    if name.startswith("plate"):
        _legend(page, name, mx, my)
    return page


def _legend(page, name, mx, my):
    """Name, arrow along +x and the two check lines, in the margins of a plate's page."""
    unit = 30.0 / UNITS
    picture = Image.fromarray(page)
    draw = ImageDraw.Draw(picture)
    draw.text((mx, my - 50), name + "   this arrow towards the dipper pin", fill=0)
    draw.line([mx, my - 25, mx + 420, my - 25], fill=0, width=3)
    draw.polygon([(mx + 420, my - 32), (mx + 420, my - 18), (mx + 440, my - 25)], fill=0)
    y, x0, x1 = page.shape[0] - my + 35, mx + 20, mx + 20 + ACROSS_MM / unit
    for line in ([x0, y, x1, y], [x0, y - 12, x0, y + 12], [x1, y - 12, x1, y + 12]):
        draw.line(line, fill=0, width=1)
    x, y0, y1 = mx - 20, my + 50, my + 50 + ALONG_MM / unit
    for line in ([x, y0, x, y1], [x - 10, y0, x + 10, y0], [x - 10, y1, x + 10, y1]):
        draw.line(line, fill=0, width=1)
    page[:] = np.asarray(picture)


class Sheet:
    """A printed piece in the world: flat, or bent to a part of a cylinder whose ruling runs along the piece's y (or x).

    sagitta_mm: how far the middle stands off the chord over 200 mm, towards the viewer (the world's -z).
    fold_rad: a crease through the middle, square to bend_along; both halves leave the plane by this angle, the crease standing out.
    """

    def __init__(self, name, origin, turn_rad, scale, sagitta_mm=0.0, bend_along="x", tilt_rad=0.0, fold_rad=0.0):
        self.name, self.scale, self.sagitta, self.bend, self.fold = name, np.asarray(scale, float), sagitta_mm, bend_along, fold_rad
        c, s = np.cos(turn_rad), np.sin(turn_rad)
        self.x_dir = np.array([c, s, 0.0])
        y_flat = np.array([-s, c, 0.0])
        self.y_dir = y_flat * np.cos(tilt_rad) + np.array([0, 0, 1.0]) * np.sin(tilt_rad)
        self.z_dir = np.cross(self.x_dir, self.y_dir)
        self.middle = np.asarray(origin, float)  # world point of the piece's middle

    def world(self, points):
        """World points (n, 3) of drawing points (n, 2) in mm, measured from the corner of square (0,0)."""
        flat = (np.asarray(points, float) - np.array(size(self.name)) / 2) * self.scale
        rise = np.zeros(len(flat))
        if self.sagitta:
            radius = (100.0 ** 2 + self.sagitta ** 2) / (2 * abs(self.sagitta))
            axis = 0 if self.bend == "x" else 1
            arc = flat[:, axis] / radius
            rise = -np.sign(self.sagitta) * radius * (np.cos(arc) - 1)
            flat[:, axis] = radius * np.sin(arc)
        if self.fold:
            axis = 0 if self.bend == "x" else 1
            rise = rise + np.abs(flat[:, axis]) * np.sin(self.fold)
            flat[:, axis] *= np.cos(self.fold)
        return self.middle + flat[:, :1] * self.x_dir + flat[:, 1:] * self.y_dir + rise[:, None] * self.z_dir

    def mesh(self):
        """Grid of page points: world (ny, nx, 3) and page coordinates 0..1 (ny, nx, 2), v upward as POV-Ray has it."""
        width, height = size(self.name)
        mx, my = page_margin(self.name)
        nx, ny = (2, 2) if not (self.sagitta or self.fold) else (61, 61)
        u, v = np.meshgrid(np.linspace(0, 1, nx), np.linspace(0, 1, ny))
        points = np.stack([u * (width + 2 * mx) - mx, v * (height + 2 * my) - my], -1)
        return self.world(points.reshape(-1, 2)).reshape(ny, nx, 3), np.stack([u, 1 - v], -1)
