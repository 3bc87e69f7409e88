#!/usr/bin/env python3
"""Writes the files of maps that package warp and internal/exr read in tests.

    /usr/bin/python3 testdata/generate/projection-maps.py

run at the top of the module, with Debian's python3-opencv 4.6.0 and ffmpeg
5.1. Same input, same output.

The target is 20 x 37 px, the source 128 x 256 px. Pixel (i, j) of the target sees

    sx = 3 + 4.25 i + 0.5 j        sy = 2 + 0.75 i + 5 j

in source pixels, origin at the outer corner of the first. Red holds sx / 128,
green sy / 256, counted from the top left; where a file has an alpha, pixels
(19, 36) and (0, 3) are not seen.

map-cv.exr         cv2.imwrite: RGB float
map-ffmpeg.exr     ffmpeg: RGBA float, ZIP
map-half.exr       cv2.imwrite: RGB half
map-zips-half.exr  ffmpeg: RGBA half, ZIPS
"""

import os
import subprocess

os.environ["OPENCV_IO_ENABLE_OPENEXR"] = "1"

import cv2  # noqa: E402
import numpy as np  # noqa: E402

OUT = "testdata/projection/"
j, i = np.mgrid[0:37, 0:20].astype(np.float64)
x = ((3 + 4.25 * i + 0.5 * j) / 128).astype(np.float32)
y = ((2 + 0.75 * i + 5 * j) / 256).astype(np.float32)
seen = np.ones((37, 20), np.float32)
seen[36, 19] = seen[3, 0] = 0
none = np.zeros_like(seen)

# OpenCV takes blue first.
cv2.imwrite(OUT + "map-cv.exr", np.dstack([none, y, x]))
cv2.imwrite(OUT + "map-half.exr", np.dstack([none, y, x]), [cv2.IMWRITE_EXR_TYPE, cv2.IMWRITE_EXR_TYPE_HALF])

# ffmpeg takes planes green, blue, red, alpha, all of float.
planes = b"".join((p * seen).astype("<f4").tobytes() for p in (y, none, x)) + seen.astype("<f4").tobytes()
for name, options in (
    ("map-ffmpeg.exr", ["-compression", "zip16", "-format", "float"]),
    ("map-zips-half.exr", ["-compression", "zip1", "-format", "half"]),
):
    subprocess.run(
        ["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "gbrapf32le", "-s", "20x37", "-i", "-",
         "-c:v", "exr", *options, "-update", "1", "-frames:v", "1", OUT + name],
        input=planes, check=True)
