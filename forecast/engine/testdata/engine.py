"""The engine's arithmetic in vectorised NumPy, for TestAgainstNumPy.

Usage: /usr/bin/python3 engine.py FOLDER REPEATS
Debian 12: python3-numpy 1.24.2, python3-scipy 1.10.1 (for the normal
distribution function only, which NumPy lacks).

Reads river.json and the arrays beside it, computes what doc.go of the engine
says with whole arrays of members x days (plain), and once more with only the
days on which any member of the group is active (trimmed), and writes plain.f64
and trimmed.f64 and the best processor times as JSON on standard output.
"""
import json, os, sys, time

os.environ.setdefault("OMP_NUM_THREADS", "1")
import numpy as np
from scipy.special import ndtr

folder, repeats = sys.argv[1], int(sys.argv[2])
spec = json.load(open(os.path.join(folder, "river.json")))
M, D, groups = spec["members"], spec["days"], spec["groups"]
load = lambda name, dtype: np.fromfile(os.path.join(folder, name), dtype)
temp = load("temp.f32", "<f4").reshape(M, D)
draws = load("draws.f64", "<f8").reshape(len(groups), 6, M)  # dd50, calendar, weight, spread, rate, rate of egg-laying
FAR, RAMP, LEAST, REACH = 1e6, 2.0, 0.05, 6.5
inf = lambda v, sign: sign * np.inf if v is None else v


def reached(x, rate, need):
    hit = x >= need[:, None]
    first = np.where(hit.any(1), hit.argmax(1), D)
    rows = np.arange(M)
    before = np.where(first > 0, x[rows, np.maximum(first - 1, 0)], 0.0)
    r = rate[rows, np.minimum(first, D - 1)]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = first + (need - before) / r
    return np.where(r > 0, np.minimum(t, FAR), FAR)


def quantiles(days, seen):
    v = np.sort(days[seen])
    n = len(v)
    return [-1, -1, -1] if n == 0 else [int(v[(k * n + 9) // 10 - 1]) for k in (1, 5, 9)]


def window(cum):
    total = cum[:, -1]
    seen = total >= LEAST
    out = []
    for q in (0.1, 0.5, 0.9):
        out += quantiles((cum >= (q * total)[:, None]).argmax(1), seen)
    return out + [int(seen.sum())]


def stages(g, t50, spread, rates, gate, trim):
    lo, hi = 0, D
    lag0, lag1 = g["lag_min"], g["lag_max"]
    p = np.zeros((2, D))
    if trim:
        a, b = np.floor((t50 - REACH * spread).min() - 1), np.ceil((t50 + REACH * spread).max() + lag1 + 1)
        lo, hi = int(np.clip(a, 0, D)), int(np.clip(b, 0, D))
        if hi <= lo:
            return p, [-1] * 9 + [0] + [-1] * 9 + [0]
    z = np.arange(lo, hi + 1, dtype=float)[None, :] - t50[:, None]
    z /= spread[:, None]
    ndtr(z, out=z)
    e = np.diff(z, axis=1)
    if gate:
        t = temp[:, lo:hi].astype(float)
        e *= np.clip(np.minimum((t - inf(g["gate_min"], -1)) / RAMP, (inf(g["gate_max"], 1) - t) / RAMP) + 1, 0, 1)
    cum = np.cumsum(e, axis=1)
    l = np.zeros_like(e)
    n = hi - lo
    if lag0 < n:
        l[:, lag0:] = cum[:, : n - lag0]
    if lag1 + 1 < n:
        l[:, lag1 + 1 :] -= cum[:, : n - lag1 - 1]
    l /= lag1 - lag0 + 1
    w = window(cum) + window(np.cumsum(l, axis=1))
    for s, (a, rate) in enumerate(zip((e, l), rates)):
        a *= -rate[:, None]
        if g["least"] > 1:  # one or two records are too few as well
            few = np.exp(a)
            fewer = few.copy()
            for j in range(1, g["least"]):
                few *= a / -j
                fewer += few
            a = fewer
        else:
            np.exp(a, out=a)
        p[s, lo:hi] = 1 - a.mean(0)
    if trim:
        w = [v + lo if i % 10 != 9 and v >= 0 else v for i, v in enumerate(w)]
    return p, w


def river(trim):
    out = np.zeros((len(groups), 2, 2 * D + 20))  # P, P of the calendar, windows
    clocks = {}
    for k, g in enumerate(groups):
        key = (g["base"], g["upper"], g["start"])
        if key not in clocks:
            rate = np.clip(temp.astype(float), g["base"], inf(g["upper"], 1)) - g["base"]
            rate[:, : g["start"]] = 0
            clocks[key] = (np.cumsum(rate, axis=1), rate)
        x, rate = clocks[key]
        need, cal, w, spread = draws[k, :4]
        t50 = np.where(w > 0, w * reached(x, rate, need) + (1 - w) * cal, cal)
        gated = g["gate_min"] is not None or g["gate_max"] is not None
        for twin, (t, gate) in enumerate(((t50, gated), (cal, False))):
            p, win = stages(g, t, spread, draws[k, 4:], gate, trim)
            for s in range(2):
                out[k, s, twin * D : (twin + 1) * D] = p[s]
                out[k, s, 2 * D + 10 * twin : 2 * D + 10 * (twin + 1)] = win[10 * s : 10 * s + 10]
    return out


best = {}
for name, trim in (("plain", False), ("trimmed", True)):
    times = []
    for _ in range(repeats):
        t0 = time.process_time()
        out = river(trim)
        times.append(time.process_time() - t0)
    out.astype("<f8").tofile(os.path.join(folder, name + ".f64"))
    best[name] = min(times)
print(json.dumps(dict(best, numpy=np.__version__)))
