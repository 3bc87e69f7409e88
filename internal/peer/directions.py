"""The other side of main.go: OpenCV on one thread, told what to do on stdin.

Reads the work as little-endian float64 from the folder given, runs a case each
time its name comes in on a line of its own, writes what came out to a file, and
answers with the seconds it took.
"""
import os
import sys
import time

import cv2
import numpy as np

folder = sys.argv[1]
cv2.setNumThreads(1)


def read(name, *shape):
    return np.fromfile(os.path.join(folder, name), "<f8").reshape(-1, *shape)


fisheye_k, fisheye_d = read("fisheye-k", 3), read("fisheye-d", 1)
pinhole_k, pinhole_d = read("pinhole-k", 3), read("pinhole-d", 1)
fisheye_plane, fisheye_px = read("fisheye-plane", 1, 2), read("fisheye-px", 1, 2)
pinhole_dirs, pinhole_px = read("pinhole-dirs", 1, 3), read("pinhole-px", 1, 2)
zero = np.zeros((3, 1))

cases = {
    "fisheye.distortPoints": lambda: cv2.fisheye.distortPoints(fisheye_plane, fisheye_k, fisheye_d),
    "fisheye.undistortPoints": lambda: cv2.fisheye.undistortPoints(fisheye_px, fisheye_k, fisheye_d),
    "projectPoints": lambda: cv2.projectPoints(pinhole_dirs, zero, zero, pinhole_k, pinhole_d)[0],
    "undistortPoints": lambda: cv2.undistortPoints(pinhole_px, pinhole_k, pinhole_d),
}

print("OpenCV", cv2.__version__, flush=True)
for line in sys.stdin:
    case = line.strip()
    start = time.perf_counter()
    out = cases[case]()
    took = time.perf_counter() - start
    out.astype("<f8").tofile(os.path.join(folder, "out"))
    print(took, flush=True)
