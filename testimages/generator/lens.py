"""Pinhole and Brown-Conrady lens in OpenCV's convention; pixel (0, 0) is the centre of the top-left pixel.

World: mm, right-handed, x right, y down, z away from the viewer. Camera frame: x right, y down, z forward, x_cam = R x + t.
"""
import numpy as np


def distort(xy, d):
    k1, k2, p1, p2, k3 = d
    x, y = xy[..., 0], xy[..., 1]
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return np.stack([x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x), y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y], -1)


def undistort(xy, d, rounds=30):
    """Inverse of distort by fixed-point steps; the lenses here are weak enough for 1e-10."""
    guess = xy.copy()
    for _ in range(rounds):
        guess = guess + (xy - distort(guess, d))
    return guess


class Camera:
    """One photo's camera in the stored frame, and the upright picture after the EXIF orientation."""

    def __init__(self, width, height, f, cx, cy, dist, R, t, orientation=1):
        self.width, self.height, self.f, self.cx, self.cy = width, height, f, cx, cy
        self.dist, self.R, self.t, self.orientation = np.asarray(dist, float), np.asarray(R), np.asarray(t), orientation
        self.stretch, self.mirrored = (1.0, 1.0), False  # what was done to the upright picture afterwards

    @property
    def position(self):
        return -self.R.T @ self.t

    def stored(self, points):
        cam = np.asarray(points, float) @ self.R.T + self.t
        return distort(cam[..., :2] / cam[..., 2:], self.dist) * self.f + np.array([self.cx, self.cy])

    def to_upright(self, px):
        x, y, w, h = px[..., 0], px[..., 1], self.width - 1, self.height - 1
        turned = {1: (x, y), 3: (w - x, h - y), 6: (h - y, x), 8: (y, w - x)}[self.orientation]
        return np.stack(turned, -1)

    def upright(self, points):
        return self.as_saved(self.to_upright(self.stored(points)))

    def as_saved(self, px):
        """Places in the upright picture after it was mirrored and stretched."""
        width = self.height if self.orientation in (6, 8) else self.width
        x = width - 1 - px[..., 0] if self.mirrored else px[..., 0]
        return np.stack([(x + 0.5) * self.stretch[0] - 0.5, (px[..., 1] + 0.5) * self.stretch[1] - 0.5], -1)

    def upright_size(self):
        size = (self.height, self.width) if self.orientation in (6, 8) else (self.width, self.height)
        return tuple(int(round(n * s)) for n, s in zip(size, self.stretch))


# Rotation that takes the upright camera frame to the stored one, for each EXIF orientation.
STORED_FROM_UPRIGHT = {1: [[1, 0], [0, 1]], 3: [[-1, 0], [0, -1]], 6: [[0, 1], [-1, 0]], 8: [[0, -1], [1, 0]]}


def stored_rotation(orientation):
    turn = np.eye(3)
    turn[:2, :2] = STORED_FROM_UPRIGHT[orientation]
    return turn


def look_at(position, target, roll_rad):
    """Upright camera rotation: z towards the target, x level but for the roll."""
    z = np.asarray(target, float) - position
    z /= np.linalg.norm(z)
    x = np.cross([0, 1.0, 0], z)
    x /= np.linalg.norm(x)
    y = np.cross(z, x)
    c, s = np.cos(roll_rad), np.sin(roll_rad)
    return np.stack([c * x + s * y, -s * x + c * y, z])
