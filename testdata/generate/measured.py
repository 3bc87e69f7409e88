#!/usr/bin/env python3
"""Measures what the packages measure with other libraries.

    /usr/bin/python3 testdata/generate/measured.py

run at the top of the module, with Debian's python3-numpy 1.24.2, python3-scipy 1.10.1,
python3-opencv 4.6.0 and python3-skimage 0.19.3. Same input, same output. It writes

    testdata/measured.csv       check, library, case, and the numbers it answered
    testdata/measured-edge.png  an edge in closed form

The inputs are made here and in the tests, by package internal/same, from the same
random numbers and in whole numbers wherever a rounding could matter.
"""

import csv
import math
import warnings

import cv2
import numpy as np
import scipy.fft
import scipy.optimize
import scipy.signal
import scipy.special
import scipy.stats
import skimage
from skimage.measure import CircleModel, find_contours, ransac
from skimage.registration import phase_cross_correlation
from skimage.restoration import estimate_sigma

warnings.simplefilter("ignore")
CV, SCIPY, NUMPY, SKIMAGE = f"OpenCV {cv2.__version__}", f"SciPy {scipy.__version__}", f"NumPy {np.__version__}", f"scikit-image {skimage.__version__}"
rows = []


def answer(check, library, case, *numbers):
    rows.append((check, library, case, " ".join(repr(float(v)) for v in numbers)))


class Random:
    def __init__(self, seed):
        self.seed, self.count = seed, 0

    def bits(self, n=1):
        i = np.arange(self.count + 1, self.count + n + 1, dtype=np.uint64)
        self.count += n
        z = np.uint64(self.seed << 32) + i * np.uint64(0x9E3779B97F4A7C15)
        z = (z ^ z >> np.uint64(30)) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ z >> np.uint64(27)) * np.uint64(0x94D049BB133111EB)
        return z ^ z >> np.uint64(31)

    def below(self, n):
        return int(self.bits()[0] >> np.uint64(33)) % n

    def noise(self, *shape):
        b = self.bits(3 * math.prod(shape))
        words = sum(((b >> np.uint64(s)) & np.uint64(0xFFFF)).astype(np.int64) for s in (0, 16, 32, 48))
        return words.reshape(-1, 3).sum(1).reshape(shape) - 6 * 65535

    def record(self, picture, deviation):
        return np.clip(4000 + picture * 7 // 8 + (deviation * self.noise(*picture.shape) >> 16), 0, 65535).astype(np.uint16)


photograph = cv2.imread("testdata/waterfront.png", cv2.IMREAD_UNCHANGED)[:, :, 1].astype(np.int64)


def crop(x, y, step, w, h):
    p, q = (x + step * np.arange(w))[None, :], (y + step * np.arange(h))[:, None]
    i, j, u, v = p >> 8, q >> 8, p & 255, q & 255
    a, b, c, d = (photograph[j + m, i + k] for m in (0, 1) for k in (0, 1))
    return ((a * (256 - u) + b * u) * (256 - v) + (c * (256 - u) + d * u) * v) >> 16


def parabola(a, b, c):
    """Where the top of a parabola through three values is, from the middle one."""
    return (a - c) / (2 * (a - 2 * b + c))


def ecc(a, b, dx=0.0, dy=0.0):
    """How far b is displaced from a, by the enhanced correlation coefficient."""
    m = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    try:
        cv2.findTransformECC(a.astype(np.float32), b.astype(np.float32), m, cv2.MOTION_TRANSLATION,
                             (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-8), None, 1)
    except cv2.error:
        return math.nan, math.nan
    return m[0, 2], m[1, 2]


def phase(a, b):
    w = cv2.createHanningWindow(a.shape[::-1], cv2.CV_64F)
    (x, y), _ = cv2.phaseCorrelate(a.astype(np.float64), b.astype(np.float64), w)
    return x, y


def upsampled(a, b):
    w = cv2.createHanningWindow(a.shape[::-1], cv2.CV_64F)
    shift, _, _ = phase_cross_correlation((a - a.mean()) * w, (b - b.mean()) * w, upsample_factor=100)
    return -shift[1], -shift[0]


def pair(r, w, h):
    """Two frames, half a pixel of the photograph a pixel, the second shifted by up to 3 px."""
    x, y = 20 * 256 + r.below(400 * 256), 84 * 256 + r.below(60 * 256)
    dx, dy = r.below(769) - 384, r.below(769) - 384
    return r.record(crop(x, y, 128, w, h), 100), r.record(crop(x - dx, y - dy, 128, w, h), 100)


for case in range(60):  # shift of frames
    a, b = pair(Random(100 + case), 128, 96)
    answer("shift", CV + " phaseCorrelate", case, *phase(a, b))
    answer("shift", CV + " findTransformECC", case, *ecc(a, b))
    answer("shift", SKIMAGE + " phase_cross_correlation", case, *upsampled(a, b))

for case in range(20):  # of patches of 32 × 32 px
    a, b = pair(Random(200 + case), 144, 112)
    for k in range(15):
        x, y = 28 + 22 * (k % 5), 28 + 28 * (k // 5)
        p, q = a[y - 16:y + 16, x - 16:x + 16], b[y - 16:y + 16, x - 16:x + 16]
        answer("seam", CV + " phaseCorrelate", case, *phase(p, q))
        tx, ty = ecc(p, b[y - 20:y + 20, x - 20:x + 20], 4, 4)
        answer("seam", CV + " findTransformECC", case, tx - 4, ty - 4)
        answer("seam", SKIMAGE + " phase_cross_correlation", case, *upsampled(p, q))


def light(r):
    """A light that changes every four frames, smoothed, 32 values a frame."""
    levels = np.array([r.below(1000) for _ in range(200)])
    v = np.repeat(levels, 128)
    for _ in range(2):
        s = np.concatenate([[0], np.cumsum(v)])
        v = s[128:] - s[:-128]
    return v


def frames(v, first, n):
    s = np.concatenate([[0], np.cumsum(v)])
    at = first + 32 * np.arange(n)
    return s[at + 16] - s[at]


for case in range(60):  # offset of traces
    r = Random(300 + case)
    v = light(r)
    first = 200 + r.below(3200)
    a, b = frames(v, 0, 500), frames(v, first, 500)
    a = a + (4_000_000 * r.noise(500) >> 16)
    b = b + (4_000_000 * r.noise(500) >> 16)
    c = scipy.signal.correlate(a - a.mean(), b - b.mean())
    k = int(np.argmax(c))
    answer("offset", SCIPY + " correlate", case, k - 499 + parabola(*c[k - 1:k + 2]))

for case in range(10):  # drift
    r = Random(400 + case)
    t = 0.5 * np.arange(40)
    s = r.noise(40) / 65536 + 0.01 * case * t
    fit = scipy.stats.linregress(t, s)
    left = s - fit.intercept - fit.slope * t
    answer("drift", SCIPY + " linregress", case, 60 * fit.slope, 60 * fit.stderr, math.sqrt((left**2).sum() / 38))
    _, cov = scipy.optimize.curve_fit(lambda t, a, b: a + b * t, t, s, sigma=np.full(40, 3.0), absolute_sigma=True)
    answer("drift", SCIPY + " curve_fit", case, 60 * math.sqrt(cov[1, 1]))

FRACTIONS = (0, 0.003, 0.01, 0.1, 0.25, 0.5, 0.777, 0.9, 0.99, 0.9999, 1)
for case in range(10):  # percentiles
    r = Random(500 + case)
    p = r.record(crop(r.below(400 * 256), r.below(180 * 256), 256, 64, 48), 655)
    for bits, q in ((16, p), (8, (p >> 8).astype(np.uint8))):
        answer("percentile", f"{NUMPY} percentile {bits}", case, *np.percentile(q, [100 * f for f in FRACTIONS], method="inverted_cdf"))

for case in range(50):  # vibration
    r = Random(600 + case)
    f, size, turn = 2 + r.below(9_000_000) / 1e6, 0.3 + r.below(700) / 1000, r.below(6000) / 1000
    n = np.arange(301)
    x = size * np.sin(2 * math.pi * f * n / 24 + turn)
    v = x[1:] - x[:-1] + 2 + r.noise(300) / 65536 * 0.1
    freq, power = scipy.signal.periodogram(v, 24, "hann", nfft=1 << 15, detrend="constant", scaling="spectrum")
    k = int(np.argmax(power))
    d = parabola(*np.log(power[k - 1:k + 2]))
    found = freq[k] + d * freq[1]
    answer("vibration", SCIPY + " periodogram", case, found, math.sqrt(2 * power[k]) / (2 * math.sin(math.pi * found / 24)))
    freq, power = scipy.signal.welch(v, 24, "hann", nperseg=150, nfft=1 << 14, scaling="spectrum")
    k = int(np.argmax(power))
    found = freq[k] + parabola(*np.log(power[k - 1:k + 2])) * freq[1]
    answer("vibration", SCIPY + " welch", case, found, math.sqrt(2 * power[k]) / (2 * math.sin(math.pi * found / 24)))

for case in range(50):  # patterns: the top of the spectrum within two bins of the truth
    r = Random(700 + case)
    scene = 8000 + crop(r.below(440 * 256), r.below(180 * 256), 64, 256, 256)
    fx, fy, turn = (60 + r.below(380)) / 1000, (r.below(800) - 400) / 1000, r.below(6000) / 1000
    j, i = np.mgrid[:256, :256]
    p = r.record(np.floor(scene * (1 + 0.03 * np.cos(2 * math.pi * (fx * i + fy * j) + turn))).astype(np.int64), 400) - 4000.0
    w = np.hanning(130)[1:-1]
    w = np.outer(w, w)
    power, weight = 0, 0
    for part in (p[:128, :128], p[128:, :128], p[:128, 128:], p[128:, 128:]):
        power = power + np.abs(scipy.fft.fft2((part - (part * w).sum() / w.sum()) * w, (1024, 1024))) ** 2
        weight += (part * w).sum() ** 2
    kx, ky = round(fx * 1024), round(fy * 1024)
    best = max(((power[(ky + b) % 1024, (kx + a) % 1024], a, b) for a in range(-16, 17) for b in range(-16, 17)))
    kx, ky = kx + best[1], ky + best[2]
    l = lambda a, b: math.log(power[(ky + b) % 1024, (kx + a) % 1024])
    gx, gy = kx + parabola(l(-1, 0), l(0, 0), l(1, 0)), ky + parabola(l(0, -1), l(0, 0), l(0, 1))
    answer("pattern", SCIPY + " fft2", case, gx / 1024, gy / 1024, 2 * math.sqrt(best[0] / weight))

HARMONICS = range(1, 8)  # it is not told how many there are: as many as 15 rows show
for case in range(60):  # bands
    r = Random(800 + case)
    spacing, depth, turn = 15 + r.below(60_000) / 1000, 0.01 + r.below(150) / 1000, r.below(6000) / 1000
    i = np.arange(480)
    u = i / 240 - 1
    wave = depth * (np.cos(2 * math.pi * i / spacing + turn) + 0.2 * np.cos(4 * math.pi * i / spacing))
    v = 1000 * (1 - 0.3 * u * u + 0.05 * u) * (1 + wave) + r.noise(480) / 65536 * 2

    def model(i, f, *c):
        u = i / 240 - 1
        return np.polyval(c[:5], u) * (1 + sum(c[4 + 2 * h - 1] * np.cos(2 * math.pi * h * f * i) + c[4 + 2 * h] * np.sin(2 * math.pi * h * f * i) for h in HARMONICS))

    flat = np.polyfit(u, v, 4)
    freq, power = scipy.signal.periodogram(v / np.polyval(flat, u) - 1, nfft=1 << 14)
    start = freq[np.argmax(power)]
    try:
        c, _ = scipy.optimize.curve_fit(model, i, v, [start, *flat, 0.01, 0.01, *12 * [0.001]])
        k = np.arange(4096) / 4096 / c[0]
        one = model(k, c[0], 0, 0, 0, 0, 1, *c[6:])
        answer("bands", SCIPY + " curve_fit", case, 1 / c[0], (one.max() - one.min()) / (one.max() + one.min()))
    except RuntimeError:
        answer("bands", SCIPY + " curve_fit", case, math.nan, math.nan)

for case in range(50):  # image circles
    r = Random(900 + case)
    # In sixteenths of a pixel.
    x, y, radius = 1600 + r.below(160) - 80, 1280 + r.below(160) - 80, 960 + r.below(560)
    scene = 20000 + crop(r.below(400 * 256), r.below(180 * 256), 64, 200, 160) // 4
    j, i = np.mgrid[: 160 * 8, : 200 * 8]
    inside = (2 * i + 1 - x) ** 2 + (2 * j + 1 - y) ** 2 < radius * radius
    share = inside.reshape(160, 8, 200, 8).sum((1, 3))
    p = np.clip(700 + scene * share // 64 + (300 * r.noise(160, 200) >> 16), 0, 65535).astype(np.uint16)
    level = (np.percentile(p, 0.5) + np.median(p[60:100, 80:120])) / 2
    # Their rows and columns count from the centre of the first pixel.
    curve = max(find_contours(p.astype(float), level), key=len)[:, ::-1] + 0.5
    rim = curve[(curve > 3).all(1) & (curve[:, 0] < 197) & (curve[:, 1] < 157)]
    c = CircleModel()
    c.estimate(rim)
    answer("circle", SKIMAGE + " CircleModel", case, *c.params)
    c, _ = ransac(rim, CircleModel, 3, 0.5, max_trials=500, random_state=1)
    answer("circle", SKIMAGE + " ransac", case, *c.params)
    (ex, ey), axes, _ = cv2.fitEllipse(rim.astype(np.float32))
    answer("circle", CV + " fitEllipse", case, ex, ey, (axes[0] + axes[1]) / 4)

for case in range(60):  # noise
    r = Random(1000 + case)
    deviation = 150 + r.below(1000)
    p = r.record(crop(r.below(350 * 256), r.below(120 * 256), (96, 256)[case % 2], 160, 120), deviation)
    answer("noise", SKIMAGE + " estimate_sigma", case, estimate_sigma(p.astype(float)))

for case in range(60):  # gain between plates
    r = Random(1100 + case)
    x, y, gain = 10 * 256 + r.below(400 * 256), 40 * 256 + r.below(140 * 256), 230 + r.below(60)
    a = crop(x, y, 96, 160, 120) // 2 + 8000
    b = crop(x + r.below(60), y, 96, 160, 120) // 2 + 8000
    k = r.below(100)
    b[20:90, k:k + 40] = crop(x + 5000, y + 1000, 96, 40, 70) // 2 + 4000  # a near thing
    a = np.clip(a + (300 * r.noise(120, 160) >> 16), 0, 65535)
    b = np.clip(b * gain // 256 + (300 * r.noise(120, 160) >> 16), 0, 65535)
    means = [v.reshape(10, 12, 160, 1)[:, :, :156].reshape(10, 12, 13, 12).mean((1, 3)).ravel() for v in (a, b)]
    ratio = np.log2(means[1] / means[0])
    for loss in ("soft_l1", "cauchy"):
        fit = scipy.optimize.least_squares(lambda g: ratio - g[0], [np.median(ratio)], loss=loss, f_scale=0.01)
        answer("gain", f"{SCIPY} least_squares {loss}", case, fit.x[0])

HEIGHTS = np.array([0, 20, 40, 55, 70, 80.0])
for case in range(50):  # falloff
    r = Random(1200 + case)
    x, y, fourth = 80 + r.below(80) / 10 - 4, 60 + r.below(80) / 10 - 4, r.below(700) / 1000
    gx, gy = (r.below(400) - 200) * 1e-6, (r.below(400) - 200) * 1e-6
    j, i = np.mgrid[:120, :160]
    dx, dy = i + 0.5 - x, j + 0.5 - y
    square = dx * dx + dy * dy
    p = (0.6 * (1 + gx * dx + gy * dy) * (1 - fourth * (np.minimum(square, 8100) / 10000) ** 2) + r.noise(120, 160) / 65536 * 0.006).astype(np.float32)
    distance = np.sqrt(square).ravel()
    ring = []
    for k, h in enumerate(HEIGHTS):
        mean, _, _ = scipy.stats.binned_statistic(distance, p.ravel(), bins=[max(0, h - 2), h + 2])
        ring.append(mean[0])
    answer("falloff", SCIPY + " binned_statistic", case, *(np.array(ring) / ring[0])[1:])


def edge():
    """An edge that spreads normally by 0.6 px, at 7 degrees, gathered by square photosites: the
    difference of second integrals of the error function."""
    sigma, tilt = 0.6, math.radians(7)
    sin, cos = math.sin(tilt), math.cos(tilt)

    def twice(d):
        z = d / sigma
        return ((d * d + sigma * sigma) * scipy.special.ndtr(z) + sigma * d * np.exp(-z * z / 2) / math.sqrt(2 * math.pi)) / 2

    j, i = np.mgrid[:72, :64]
    d = (i + 0.5 - 32.3 - math.tan(tilt) * (j + 0.5 - 36)) * cos
    s = lambda u, v: twice(d + u * cos / 2 + v * sin / 2)
    way = (s(1, 1) - s(1, -1) - s(-1, 1) + s(-1, -1)) / (sin * cos)
    cv2.imwrite("testdata/measured-edge.png", np.round(6000 + 48000 * way).astype(np.uint16))
    otf = lambda f: math.exp(-2 * (math.pi * sigma * f) ** 2) * np.sinc(f * cos) * np.sinc(f * sin)
    answer("edge", SCIPY + " brentq", 0, scipy.optimize.brentq(lambda f: otf(f) - 0.5, 0.01, 1), *(otf(f) for f in (0.1, 0.25, 0.4, 0.5)))


edge()
with open("testdata/measured.csv", "w", newline="") as f:
    csv.writer(f, lineterminator="\n").writerows([("check", "library", "case", "answer"), *rows])
