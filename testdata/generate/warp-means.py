#!/usr/bin/env python3
"""Fits the kernels of PixelMean anew, another way than package warp does.

    /usr/bin/python3 testdata/generate/warp-means.py > testdata/projection/means.csv

run at the top of the module, with Debian's python3-scipy 1.10.1. Same input,
same output.

For a target pixel s source pixels wide, at t source pixels behind the centre of
the tap before it, the weights w of the taps k = -3 ... 4 are those with

    sum w = 1 and sum w (k - t) = 0

that leave the least of

    int |sum w exp(2 pi i f (k - t)) sinc f - sinc s f|^2 P(f) df
        + 0.001 sum w^2 q^4 / (1 - q) int sinc^2 f P(f) df

over 0 < f < 0.6, with P(f) = (f^2 + 0.02^2)^-1.5 and q = (k - t)^2 / 16. Here the
integrals are Gauss and Legendre's, and the least squares those of the residuals
themselves over the space of weights that meet both conditions.
"""

import numpy as np
from scipy.linalg import lstsq, null_space

nodes, lengths = np.polynomial.legendre.leggauss(64)
pieces = np.concatenate([[0], np.geomspace(0.005, 0.6, 12)])
f = np.concatenate([(a + b) / 2 + (b - a) / 2 * nodes for a, b in zip(pieces, pieces[1:])])
df = np.concatenate([(b - a) / 2 * lengths for a, b in zip(pieces, pieces[1:])])
p = (f**2 + 0.02**2) ** -1.5 * df
k = np.arange(-3, 5)

print("s,t," + ",".join(f"w{i}" for i in k))
for s in (0, 0.25, 0.5, 0.6328125, 0.75, 1, 1.25, 1.5, 1.875, 2.4921875, 3.4375):
    for t in (0, 0.05, 0.25, 0.4375, 0.5, 0.8125, 0.96875):
        waves = np.exp(2j * np.pi * np.outer(f, k - t)) * np.sinc(f)[:, None] * np.sqrt(p)[:, None]
        truth = np.sinc(s * f) * np.sqrt(p)
        q = (k - t) ** 2 / 16
        price = np.diag(np.sqrt(0.001 * q**4 / np.maximum(1 - q, 1e-9) * (np.sinc(f) ** 2 * p).sum()))
        rows = np.vstack([waves.real, waves.imag, price])
        goal = np.concatenate([truth, 0 * truth, np.zeros(8)])
        conditions = np.vstack([np.ones(8), k - t])
        some = lstsq(conditions, [1, 0])[0]
        free = null_space(conditions)
        w = some + free @ lstsq(rows @ free, goal - rows @ some)[0]
        print(f"{s},{t}," + ",".join(f"{v:.9f}" for v in w))
