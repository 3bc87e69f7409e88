#!/usr/bin/env python3
"""Writes the reference data of lens models and distortions of package projection.

    /usr/bin/python3 testdata/generate/projection-models.py

run at the top of the module, with Debian's proj-bin 9.1.1, python3-opencv 4.6.0
and python3-scipy 1.10.1. Same input, same output. Each file names its tool in its first line.

azimuthal.csv        proj: a ray to the map of the sphere, five projections
fisheye.csv          cv2.fisheye.projectPoints, k1 to k4
pinhole.csv          cv2.projectPoints, twelve coefficients
board-left-cv.csv    cv2.projectPoints of board-left-published.json
table.csv            scipy.interpolate.PchipInterpolator

The image positions of OpenCV have their origin at the centre of the first
pixel: add 0.5 to them, and to the principal point, for ours.
"""

import csv
import json
import math
import subprocess

import cv2
import numpy as np
import scipy
from scipy.interpolate import PchipInterpolator

OUT = "testdata/projection/"
rng = np.random.default_rng(21)


def write(name, note, header, rows):
    with open(OUT + name, "w", newline="") as f:
        f.write(f"# {note}; written by testdata/generate/projection-models.py\n")
        w = csv.writer(f, lineterminator="\n")
        w.writerow(header)
        for row in rows:
            w.writerow([v if isinstance(v, (str, int)) else repr(float(v)) for v in row])


# PROJ. The form's name is ours; the angle is the largest from the map's centre.
# Of a sphere, proj takes the angle from the centre in aeqd as an arc cosine,
# which is good to 1e-16/sin²c: no point there is within 5° of either end.
FORMS = {
    "rectilinear": ("gnom", 1, 85),
    "stereographic": ("stere", 1, 170),
    "equidistant": ("aeqd", 5, 170),
    "equisolid": ("laea", 1, 175),
    "orthographic": ("ortho", 1, 89),
}
CENTRES = [(0, 0), (-100, 40), (25, -62.5), (170, 5)]


def proj(name, lon0, lat0, points):
    args = ["proj", "-f", "%.17g", f"+proj={name}", "+R=1", f"+lon_0={lon0}", f"+lat_0={lat0}"]
    text = "".join(f"{lon!r} {lat!r}\n" for lon, lat in points)
    out = subprocess.run(args, input=text, capture_output=True, text=True, check=True).stdout
    return [[float(v) for v in line.split()] for line in out.splitlines()]


def away(lon0, lat0, c, azimuth):
    """The point at the angle c from another, in degrees."""
    c, az, p = math.radians(c), math.radians(azimuth), math.radians(lat0)
    s = math.sin(p) * math.cos(c) + math.cos(p) * math.sin(c) * math.cos(az)
    y = math.sin(az) * math.sin(c) * math.cos(p)
    lon = lon0 + math.degrees(math.atan2(y, math.cos(c) - math.sin(p) * s))
    return (lon + 180) % 360 - 180, math.degrees(math.asin(s))


def azimuthal():
    for form, (name, least, most) in FORMS.items():
        (x, y), = proj(name, 0, 0, [(30.0, 20.0)])
        yield ["P-G13", form, 0, 0, 30.0, 20.0, x, y]
        for lon0, lat0 in CENTRES:
            points = [away(lon0, lat0, rng.uniform(least, most), rng.uniform(0, 360)) for _ in range(55)]
            for (lon, lat), (x, y) in zip(points, proj(name, lon0, lat0, points)):
                yield ["P-PROJ", form, lon0, lat0, lon, lat, x, y]
    (x, y), = proj("aeqd", 0, -90, [(45.0, -45.0)])
    yield ["P-G12", "equidistant", 0, -90, 45.0, -45.0, x, y]


write("azimuthal.csv", "PROJ 9.1.1, proj -f %.17g +proj=gnom, stere, aeqd, laea or ortho, +R=1 +lon_0=lon0 +lat_0=lat0",
      ["id", "form", "lon0", "lat0", "lon", "lat", "x", "y"], azimuthal())


def rays(n, most, ahead=1):
    """Points around the axis z at up to a field angle in degrees, 0.3 to 50 away."""
    for _ in range(n):
        t, phi, d = math.radians(rng.uniform(0, most)), rng.uniform(0, 2 * math.pi), rng.uniform(0.3, 50)
        yield [d * math.sin(t) * math.cos(phi), d * math.sin(t) * math.sin(phi), ahead * d * math.cos(t)]


# The camera of OpenCV's modules/calib3d/test/test_fisheye.cpp, commit 00cc4aa2.
# Up to 85° it is right. It divides by z and takes an arc tangent, so a point
# behind the camera lands where the point opposite to it does; those rows are
# marked.
K = np.array([[558.478087865323, 0, 620.458515360843], [0, 560.506767351568, 381.939424848348], [0, 0, 1]])
D = np.array([-0.0014613319981768, -0.00329861110580401, 0.00605760088590183, -0.00374209380722371])


def fisheye():
    zero = np.zeros(3)
    for kind, points in ("ahead", list(rays(220, 85))), ("behind", list(rays(20, 80, -1))):
        uv, _ = cv2.fisheye.projectPoints(np.array(points).reshape(1, -1, 3), zero, zero, K, D)
        for p, q in zip(points, uv[0]):
            yield [kind, *p, *q]


write("fisheye.csv", f"OpenCV {cv2.__version__}, cv2.fisheye.projectPoints", ["kind", "x", "y", "z", "u", "v"], fisheye())

# Twelve coefficients, invented, the size of those of real wide lenses.
PINHOLE_K = np.array([[1510.25, 0, 955.5], [0, 1498.75, 541.25], [0, 0, 1]])
PINHOLE_D = np.array([0.21, -0.034, 1.1e-3, -7.5e-4, 0.0021, 0.43, -0.012, 0.0017, 6e-4, -2e-4, -9e-4, 3e-4])


def pinhole():
    """Besides the positions, the derivative of the distorted plane by the
    undistorted one, out of that by the translation."""
    zero = np.zeros(3)
    points = list(rays(220, 50))
    uv, j = cv2.projectPoints(np.array(points), zero, zero, PINHOLE_K, PINHOLE_D)
    for i, (p, q) in enumerate(zip(points, uv[:, 0])):
        (ux, uy), (vx, vy) = j[2 * i : 2 * i + 2, 3:5] * p[2] / np.array([[PINHOLE_K[0, 0]], [PINHOLE_K[1, 1]]])
        yield [*p, *q, ux, uy, vx, vy]


write("pinhole.csv", f"OpenCV {cv2.__version__}, cv2.projectPoints", ["x", "y", "z", "u", "v", "ux", "uy", "vx", "vy"], pinhole())


def board():
    with open(OUT + "board-left-published.json") as f:
        published = json.load(f)
    with open(OUT + "board-left.csv") as f:
        corners = list(csv.DictReader(f))
    matrix, d = np.array(published["camera_matrix"]), np.array(published["distortion_k1_k2_p1_p2_k3"])
    for view in published["views"]:
        mine = [c for c in corners if int(c["view"]) == view["view"]]
        points = np.array([[float(c["board_x_m"]), float(c["board_y_m"]), 0] for c in mine])
        uv, _ = cv2.projectPoints(points, np.array(view["rotation_vector"]), np.array(view["translation_m"]), matrix, d)
        for c, q in zip(mine, uv[:, 0]):
            yield [view["view"], int(c["row"]), int(c["column"]), *q]


write("board-left-cv.csv", f"OpenCV {cv2.__version__}, cv2.projectPoints", ["view", "row", "column", "u", "v"], board())


def table():
    """Heights of an invented lens at uneven angles, mirrored about the axis: rows
    of the kind point hold what is measured, the others what lies between."""
    angles = [0, 0.11, 0.2, 0.35, 0.5, 0.55, 0.8, 1.0, 1.3, 1.5, 1.62]
    heights = [0, 0.1096, 0.198, 0.3442, 0.4856, 0.5315, 0.748, 0.9029, 1.087, 1.161, 1.19]
    mirrored = PchipInterpolator([-a for a in angles[:0:-1]] + angles, [-h for h in heights[:0:-1]] + heights)
    for a, h in zip(angles, heights):
        yield ["point", a, h, mirrored.derivative()(a)]
    for a in rng.uniform(0, angles[-1], 200):
        yield ["between", a, mirrored(a), mirrored.derivative()(a)]


write("table.csv", f"SciPy {scipy.__version__}, PchipInterpolator", ["kind", "angle", "height", "slope"], table())
