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
formats = {"uint8": oiio.UINT8, "uint16": oiio.UINT16, "float32": oiio.FLOAT}
st_rows = 15
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


def st_warp(filter, scale, part):
    """Warps with a filter that is scale times as wide as it is by nature. Of
    every part strips of st_rows rows it does one."""
    width = st_widths[filter] * float(scale)
    src, map, out, part = state["image"], state["st"], state["warped"], int(part)
    roi = out.roi
    took = 0
    for y in range(part // 2 * st_rows, roi.height, part * st_rows):
        rows = oiio.ROI(0, roi.width, y, min(y + st_rows, roi.height), 0, 1, 0, roi.chend)
        start = time.perf_counter()
        ok = oiio.ImageBufAlgo.st_warp(out, src, map, filter, width, 0, 1, False, False, rows, 1)
        took += time.perf_counter() - start
        if not ok:
            raise RuntimeError(out.geterror())
    state["out"] = out.get_pixels(formats[state["source"].dtype.name])
    return took


def build_and_remap(interpolation):
    took = build()
    return took + remap(interpolation, "maps")


def write():
    state["out"].tofile(path("out"))
    return 0


def layers(count, side, ch, w, h, strips):
    """Takes the frames, maps and weights of a blend."""
    count, side, ch, w, h = int(count), int(side), int(ch), int(w), int(h)
    state["layers"] = [
        (
            load("layer%d" % i, "uint8", side, side, ch),
            load("xs%d" % i, "float32", h, w),
            load("ys%d" % i, "float32", h, w),
            np.repeat(load("weights%d" % i, "float32", h, w)[:, :, None], ch, axis=2),
        )
        for i in range(count)
    ]
    state["strip"] = h // int(strips)
    state["joined"] = np.zeros((h, w, ch), np.uint8)
    return 0


def blend(weigh):
    """Remaps all layers strip by strip, and weighs them if told so."""
    step, joined = state["strip"], state["joined"]
    took = 0
    for y in range(0, joined.shape[0], step):
        rows = slice(y, y + step)
        start = time.perf_counter()
        total = None
        for i, (src, xs, ys, weights) in enumerate(state["layers"]):
            seen = cv2.remap(src, xs[rows], ys[rows], cv2.INTER_LINEAR)
            if weigh == "0":
                continue
            part = cv2.multiply(seen, weights[rows], dtype=cv2.CV_32F)
            if total is None:
                total = part
            elif i < len(state["layers"]) - 1:
                cv2.add(total, part, dst=total)
            else:
                cv2.add(total, part, dst=joined[rows], dtype=cv2.CV_8U)
        took += time.perf_counter() - start
    return took


def write_joined():
    state["joined"].tofile(path("out"))
    return 0


def forget_frames():
    for name in "source", "out", "image", "st", "warped":
        state.pop(name, None)
    return 0


commands = [source, geometry, build, maps, write_maps, fix, remap, st, st_warp, build_and_remap, write, layers, blend, write_joined, forget_frames]
commands = {f.__name__: f for f in commands}
print("OpenCV %s, OpenImageIO %s" % (cv2.__version__, oiio.VERSION_STRING), flush=True)
for line in sys.stdin:
    words = line.split()
    print(commands[words[0]](*words[1:]), flush=True)
