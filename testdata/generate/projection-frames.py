#!/usr/bin/env python3
"""Writes the reference data of poses and panoramas of package projection.

    /usr/bin/python3 testdata/generate/projection-frames.py

run at the top of the module, with Debian's python3-scipy 1.10.1 and
python3-opencv 4.6.0 and proj-bin 9.1.1. Same input, same output.
"""

import csv
import subprocess

import cv2
import numpy as np
from scipy.spatial.transform import Rotation, Slerp

OUT = "testdata/projection/"
rng = np.random.default_rng(20)


def write(name, header, rows):
    with open(OUT + name, "w", newline="") as f:
        w = csv.writer(f, lineterminator="\n")
        w.writerow(header)
        for row in rows:
            w.writerow([repr(float(v)) for v in row])


def turn(heading, elevation, roll):
    """Heading right, then elevation up, then roll clockwise, in degrees."""
    return Rotation.from_euler("YXZ", [-heading, elevation, -roll], degrees=True)


def slerp():
    for i in range(200):
        a = [rng.uniform(-180, 180), rng.uniform(-90, 90), rng.uniform(-180, 180)]
        if i % 4:
            b = [rng.uniform(-180, 180), rng.uniform(-90, 90), rng.uniform(-180, 180)]
        else:  # neighbours, as in a track of 24 poses a second
            b = [x + rng.normal() * 10.0 ** rng.integers(-6, 1) for x in a]
        t = rng.uniform(0, 1)
        key = Rotation.concatenate([turn(*a), turn(*b)])
        m = Slerp([0, 1], key)(t).as_matrix()
        angle = (key[0].inv() * key[1]).magnitude()
        yield [*a, *b, t, angle, *m.ravel()]


write("slerp.csv", ["h0", "e0", "r0", "h1", "e1", "r1", "t", "angle"] + [f"m{i}{j}" for i in range(3) for j in range(3)], slerp())


def rodrigues():
    for i in range(200):
        axis = rng.normal(size=3)
        axis /= np.linalg.norm(axis)
        # Up to half a turn, many close to none.
        angle = rng.uniform(0, np.pi) if i % 4 else 10.0 ** rng.uniform(-9, 0)
        v = axis * angle
        m, _ = cv2.Rodrigues(v)
        yield [*v, *m.ravel()]


write("rodrigues.csv", ["x", "y", "z"] + [f"m{i}{j}" for i in range(3) for j in range(3)], rodrigues())


def central_cylindrical():
    lon = rng.uniform(-180, 180, 200)
    lat = rng.uniform(-89, 89, 200)
    text = "".join(f"{a!r} {b!r}\n" for a, b in zip(lon.tolist(), lat.tolist()))
    got = subprocess.run(["proj", "-f", "%.17g", "+proj=cc", "+R=1"], input=text, capture_output=True, text=True, check=True).stdout
    for a, b, line in zip(lon, lat, got.splitlines()):
        yield [a, b, *map(float, line.split())]


write("cylindrical.csv", ["lon", "lat", "x", "y"], central_cylindrical())
