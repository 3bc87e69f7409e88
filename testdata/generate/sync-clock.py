#!/usr/bin/env python3
"""Writes labels, binary words and leap seconds as other programs have them.

    /usr/bin/python3 testdata/generate/sync-clock.py

run at the top of the module, with Debian's libavutil57 (FFmpeg 5.1.9), nodejs and
npm, tzdata 2025b and coreutils 9.1. It installs smpte-timecode 1.3.6 from npm into a
temporary folder. Same input, same output. It writes into testdata/sync:

    labels.csv   frames and their labels, by FFmpeg's libavutil and by smpte-timecode
    words.csv    labels and their 32-bit words, by libavutil, in the order of RTP
    leaps.csv    PTP seconds and UTC, by date(1) in the zone right/UTC of tzdata, whose
                 seconds are those of PTP less 10
"""

import csv
import ctypes
import json
import os
import random
import subprocess
import tempfile

here = "testdata/sync/"
random.seed(1)


def write(name, head, rows):
    with open(here + name, "w", newline="") as f:
        w = csv.writer(f, lineterminator="\n")
        w.writerow(head)
        w.writerows(rows)


class Rate(ctypes.Structure):
    _fields_ = [("num", ctypes.c_int), ("den", ctypes.c_int)]


class Timecode(ctypes.Structure):
    _fields_ = [("start", ctypes.c_int), ("flags", ctypes.c_uint32), ("rate", Rate), ("fps", ctypes.c_uint)]


av = ctypes.CDLL("libavutil.so.57")
av.av_version_info.restype = ctypes.c_char_p
assert av.av_version_info().decode().startswith("5.1.9"), av.av_version_info()
av.av_log_set_level(-8)
av.av_timecode_init.argtypes = [ctypes.POINTER(Timecode), Rate, ctypes.c_int, ctypes.c_int, ctypes.c_void_p]
av.av_timecode_make_string.argtypes = [ctypes.POINTER(Timecode), ctypes.c_char_p, ctypes.c_int]
av.av_timecode_get_smpte_from_framenum.argtypes = [ctypes.POINTER(Timecode), ctypes.c_int]
av.av_timecode_get_smpte_from_framenum.restype = ctypes.c_uint32

DROP = 1

# What smpte-timecode calls the rates that it knows.
known = {(n, 1): n for n in (24, 25, 30, 48, 50, 60)} | {(24000, 1001): 23.976, (30000, 1001): 29.97, (60000, 1001): 59.94}


def frames(fps):
    """The frames around the ends of minutes and hours, and others at random."""
    day = 86400 * fps
    picked = {0, 1}
    for seconds in (60, 600, 3600, 36000):
        picked |= {seconds * fps + k for k in range(-20, 3)}
    return sorted(picked | {random.randrange(day * 99 // 100) for _ in range(25)})


def rates():
    for fps in (24, 25, 30, 48, 50, 60, 72, 96, 120):
        for num, den in ((fps, 1), (1000 * fps, 1001)):
            if den == 1 or fps % 25:
                yield fps, num, den, False
            if den == 1001 and fps % 30 == 0:
                yield fps, num, den, True


def text(num, den):
    return f"{num}/{den}" if den > 1 else str(num)


labels, words, asked = [], [], []
for fps, num, den, drop in rates():
    tc = Timecode()
    assert av.av_timecode_init(tc, Rate(num, den), DROP if drop else 0, 0, None) == 0
    for n in frames(fps):
        b = ctypes.create_string_buffer(64)
        av.av_timecode_make_string(tc, b, n)
        label = b.value.decode()
        labels.append(("FFmpeg", text(num, den), drop, n, label))
        if fps <= 60:
            words.append((text(num, den), drop, label, f"{av.av_timecode_get_smpte_from_framenum(tc, n):#010x}"))
        if (num, den) in known:
            asked.append((known[num, den], text(num, den), drop, n))

with tempfile.TemporaryDirectory() as folder:
    subprocess.run(["npm", "install", "--silent", "--no-audit", "--no-fund", "smpte-timecode@1.3.6"], cwd=folder, check=True)
    with open(os.path.join(folder, "run.js"), "w") as f:
        f.write(
            'const T = require("smpte-timecode");'
            'const asked = JSON.parse(require("fs").readFileSync(0));'
            "console.log(JSON.stringify(asked.map(([rate, , drop, n]) => new T(n, rate, drop).toString())))"
        )
    run = subprocess.run(["node", "run.js"], cwd=folder, check=True, input=json.dumps(asked), capture_output=True, text=True)
    for (_, rate, drop, n), label in zip(asked, json.loads(run.stdout)):
        labels.append(("smpte-timecode", rate, drop, n, label))

write("labels.csv", ("peer", "rate", "drop", "frame", "label"), labels)
write("words.csv", ("rate", "drop", "label", "word"), words)

# PTP seconds at the beginnings of the days that follow leap seconds, and at random.
starts = [
    int(subprocess.run(["date", "-u", "-d", day, "+%s"], check=True, capture_output=True, text=True).stdout)
    for day in (
        "1972-01-01 1972-07-01 1973-01-01 1974-01-01 1975-01-01 1976-01-01 1977-01-01 1978-01-01 1979-01-01 1980-01-01 "
        "1981-07-01 1982-07-01 1983-07-01 1985-07-01 1988-01-01 1990-01-01 1991-01-01 1992-07-01 1993-07-01 1994-07-01 "
        "1996-01-01 1997-07-01 1999-01-01 2006-01-01 2009-01-01 2012-07-01 2015-07-01 2017-01-01"
    ).split()
]
ptp = {s + 10 + k + j for k, s in enumerate(starts) for j in (-2, -1, 0, 1)} - {starts[0] + 8, starts[0] + 9}
ptp |= {random.randrange(starts[0] + 10, 1782604800) for _ in range(60)}
leaps = []
for s in sorted(ptp):
    run = subprocess.run(["date", "-d", f"@{s - 10}", "+%FT%TZ"], env={"TZ": "right/UTC"}, check=True, capture_output=True, text=True)
    leaps.append((s, run.stdout.strip()))
write("leaps.csv", ("ptp", "utc"), leaps)
