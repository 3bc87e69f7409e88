"""The other side of warp.go and quality.go: OpenCV and OpenImageIO on one thread.

Each line of stdin is a command and its words; each is answered with a number on
a line: the seconds it took, or 0. Rasters are raw files in the folder given.
"""
import os
import sys
import time

import cv2
import numpy as np
import OpenImageIO as oiio

folder = sys.argv[1]
cv2.setNumThreads(1)
oiio.attribute("threads", 1)
interpolations = {
    "nearest": cv2.INTER_NEAREST, "linear": cv2.INTER_LINEAR, "cubic": cv2.INTER_CUBIC, "lanczos": cv2.INTER_LANCZOS4,
}
types = {"uint8": np.uint8, "uint16": np.dtype("<u2"), "float32": np.dtype("<f4")}
depths = {"uint8": cv2.CV_8U, "uint16": cv2.CV_16U, "float32": cv2.CV_32F}
formats = {"uint8": oiio.UINT8, "uint16": oiio.UINT16, "float32": oiio.FLOAT}
st_widths = {"box": 1, "triangle": 2, "lanczos3": 6}
state = {}


def path(name):
    return os.path.join(folder, name)


def load(name, kind, *shape):
    return np.fromfile(path(name), types[kind]).reshape(*shape)


def source(kind, w, h, ch):
    """A frame to read from."""
    state["source"] = None
    state["source"] = load("source", kind, int(h), int(w), int(ch))
    return 0


def geometry(focal, cx, cy, view_focal, w, h, *turn):
    """A fisheye, a view, and the rotation from that to this."""
    state["geometry"] = (
        np.array([[float(focal), 0, float(cx)], [0, float(focal), float(cy)], [0, 0, 1]]),
        np.zeros((4, 1)),
        np.array(turn, float).reshape(3, 3).T,
        np.array([[float(view_focal), 0, int(w) / 2 - 0.5], [0, float(view_focal), int(h) / 2 - 0.5], [0, 0, 1]]),
        (int(w), int(h)),
    )
    return 0


def build():
    """Builds the pair of maps of the geometry."""
    start = time.perf_counter()
    maps = cv2.fisheye.initUndistortRectifyMap(*state["geometry"], cv2.CV_32FC1)
    took = time.perf_counter() - start
    state["maps"] = maps
    return took


def maps(w, h):
    """Takes maps from files."""
    state["maps"] = load("xs", "float32", int(h), int(w)), load("ys", "float32", int(h), int(w))
    return 0


def write_maps():
    state["maps"][0].tofile(path("xs"))
    state["maps"][1].tofile(path("ys"))
    return 0


def fix():
    """Makes the maps in fixed point: whole pixels, and 32 parts of them."""
    start = time.perf_counter()
    state["fixed"] = cv2.convertMaps(*state["maps"], cv2.CV_16SC2)
    return time.perf_counter() - start


def remap(interpolation, which):
    src = state["source"]
    x, y = state[which]
    shape = x.shape[:2] + src.shape[2:]
    if "out" not in state or state["out"].shape != shape or state["out"].dtype != src.dtype:
        state["out"] = np.zeros(shape, src.dtype)
    start = time.perf_counter()
    out = cv2.remap(src, x, y, interpolations[interpolation], dst=state["out"])
    took = time.perf_counter() - start
    state["out"] = out.reshape(shape)
    return took


def image(pixels):
    """An image of OpenImageIO's."""
    h, w, ch = pixels.shape
    made = oiio.ImageBuf(oiio.ImageSpec(w, h, ch, oiio.TypeDesc(formats[pixels.dtype.name])))
    made.set_pixels(made.roi, pixels)
    return made


def st():
    """Gives OpenImageIO the source, and the maps as an ST image."""
    src = state["source"]
    (x, y), (h, w) = state["maps"], src.shape[:2]
    state["st"] = image(np.dstack([(x + 0.5) / w, (y + 0.5) / h]).astype(np.float32))
    state["image"] = image(src)
    state["warped"] = image(np.zeros(x.shape + src.shape[2:], src.dtype))
    return 0


def st_warp(filter, scale, step, part):
    """Warps with a filter that is scale times as wide as it is by nature. Of
    every part strips of step rows it does one. The time is multiplied to that
    of all rows."""
    width = st_widths[filter] * float(scale)
    src, map, out, step, part = state["image"], state["st"], state["warped"], int(step), int(part)
    roi = out.roi
    took, done = 0, 0
    for y in range(part // 2 * step, roi.height, part * step):
        rows = oiio.ROI(0, roi.width, y, min(y + step, roi.height), 0, 1, 0, roi.chend)
        done += rows.height
        start = time.perf_counter()
        ok = oiio.ImageBufAlgo.st_warp(out, src, map, filter, width, 0, 1, False, False, rows, 1)
        took += time.perf_counter() - start
        if not ok:
            raise RuntimeError(out.geterror())
    state["out"] = out.get_pixels(formats[state["source"].dtype.name])
    return took * roi.height / done


def build_and_remap(interpolation):
    took = build()
    return took + remap(interpolation, "maps")


def write():
    state["out"].tofile(path("out"))
    return 0


def panorama(w, h, count, focal, max_angle, feather, rows):
    """Takes the numbers of a panorama from the source as seen by fisheyes that
    stand in a ring."""
    w, h = int(w), int(h)
    state["panorama"] = w, int(count), float(focal), float(max_angle), float(feather), int(rows)
    src = state["source"]
    state["joined"] = np.zeros((h, w, src.shape[2]), src.dtype)
    return 0


def smooth(t):
    t = np.clip(t, 0, 1)
    return t * t * (3 - 2 * t)


def layers(y0, y1):
    """Positions and weights of some rows, for each fisheye."""
    w, count, focal, max_angle, feather, _ = state["panorama"]
    h, (ph, pw, ch) = state["joined"].shape[0], state["source"].shape
    lat = (0.5 - (np.arange(y0, y1, dtype=np.float32)[:, None] + np.float32(0.5)) / np.float32(h)) * np.float32(np.pi)
    lon = ((np.arange(w, dtype=np.float32)[None, :] + np.float32(0.5)) / np.float32(w) - np.float32(0.5)) * np.float32(2 * np.pi)
    level, down = np.cos(lat), -np.sin(lat)
    made = []
    for i in range(count):
        turned = lon - np.float32(2 * np.pi * i / count)
        right, forward = level * np.sin(turned), level * np.cos(turned)
        across = np.sqrt(right * right + down * down)
        r = np.float32(focal) * np.arctan2(across, forward)
        scale = r / across
        x, y = right * scale + np.float32(pw / 2), down * scale + np.float32(ph / 2)
        margin = np.minimum(np.minimum(np.minimum(x, pw - x), np.minimum(y, ph - y)), np.float32(focal * max_angle) - r)
        made.append((x - np.float32(0.5), y - np.float32(0.5), margin))
    largest = np.maximum.reduce([m for _, _, m in made])
    weights = [smooth(m / feather) * smooth(1 + (m - largest) / feather) for _, _, m in made]
    total = np.maximum(sum(weights), np.float32(1e-9))
    return [(x, y, np.repeat((k / total)[:, :, None], ch, axis=2)) for (x, y, _), k in zip(made, weights)]


def blend():
    """Makes the panorama strip by strip: positions and weights, remaps of all
    layers, their weighted sum."""
    src, joined, step = state["source"], state["joined"], state["panorama"][-1]
    made = remapped = summed = 0
    for y in range(0, joined.shape[0], step):
        start = time.perf_counter()
        strip = layers(y, min(y + step, joined.shape[0]))
        now = time.perf_counter()
        made += now - start
        start = now
        seen = [cv2.remap(src, xs, ys, cv2.INTER_LINEAR) for xs, ys, _ in strip]
        now = time.perf_counter()
        remapped += now - start
        start = now
        total = cv2.multiply(seen[0], strip[0][2], dtype=cv2.CV_32F)
        for part, (_, _, weights) in zip(seen[1:-1], strip[1:-1]):
            cv2.add(total, cv2.multiply(part, weights, dtype=cv2.CV_32F), dst=total)
        last = cv2.multiply(seen[-1], strip[-1][2], dtype=cv2.CV_32F)
        cv2.add(total, last, dst=joined[y : y + step], dtype=depths[src.dtype.name])
        summed += time.perf_counter() - start
    state["took"] = {"made": made, "remapped": remapped, "summed": summed}
    return made + remapped + summed


def took(part):
    return state["took"][part]


def write_joined(apart):
    """Writes one row in every apart."""
    np.ascontiguousarray(state["joined"][:: int(apart)]).tofile(path("out"))
    return 0


def forget_frames():
    for name in "source", "out", "image", "st", "warped", "joined":
        state.pop(name, None)
    return 0


commands = [source, geometry, build, maps, write_maps, fix, remap, st, st_warp, build_and_remap, write, panorama, blend, took, write_joined, forget_frames]
commands = {f.__name__: f for f in commands}
print("OpenCV %s, OpenImageIO %s" % (cv2.__version__, oiio.VERSION_STRING), flush=True)
for line in sys.stdin:
    words = line.split()
    print(commands[words[0]](*words[1:]), flush=True)
