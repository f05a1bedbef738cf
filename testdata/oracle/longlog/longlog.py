#!/usr/bin/python3
"""Measures of a long run by NumPy and SciPy: the yardstick of speed, and a second opinion on the figures.

    python3 longlog.py RUN       RUN is the folder of a sealed run

Prints one JSON object: seconds for reading and for computing, and the measures of each joint by name
and path. The computing is what a careful user of NumPy would write: whole columns at once, no loop
over samples, 1000 bootstrap replicas at once, the searches of the loop fit as stacks of normal equations.
Wants NumPy, SciPy and python-zstandard (Debian: python3-numpy python3-scipy python3-zstandard).
Debian has no Parquet reader for Python, so what our encoding needs of one stands in sealed.py; its
time is told apart, since a compiled reader would take less.
"""
import json
import math
import sys
import time

import numpy as np
from scipy import linalg, ndimage, optimize, signal

import sealed

G = 9.80665
REPLICAS = 1000
STAIR, RAMP, STEP, HOLD = "stair", "ramp", "step", "hold"


def means(x, start, end):
    """Means of x over [start, end), by one pass."""
    edges = np.empty(2 * len(start), dtype=np.int64)
    edges[0::2], edges[1::2] = start, end
    pad = edges[-1] == len(x)
    sums = np.add.reduceat(x, edges[:-1] if pad else edges)[0::2]
    return sums / (end - start)


class Joint:
    """One joint's samples, cut into moves."""

    def __init__(self, setup, cols):
        self.setup = setup
        self.t = cols["time_us"] / 1e6
        self.cmd = cols["command_mdeg"] * 1e-3
        self.ang = cols["joint_mdeg"] * 1e-3
        self.mot = cols["motor_mdeg"] * 1e-3
        self.amp = cols["current_ma"] * 1e-3
        self.vol = cols["supply_mv"] * 1e-3
        self.dt = float(np.median(np.diff(self.t)))
        load = setup["load"]
        self.load = -load["mass_kg"] * G * load["lever_m"] * np.sin(np.radians(self.ang - load["down_deg"]))
        self.paths = {"total": self.ang - self.cmd, "servo": self.mot - self.cmd, "transmission": self.ang - self.mot}
        self.rated = setup["servo"]["rated"]
        self.idle = setup["servo"]["idle_a"]
        band = setup["servo"]["deadband_us"] * setup["servo"]["travel_deg"] / (setup["servo"]["pulse_us"][1] - setup["servo"]["pulse_us"][0])
        self.band = max(band, 2 * 360 / setup["sensors"]["joint_counts"])
        self.cut(cols["move"])

    def cut(self, move):
        names, code = move
        change = np.flatnonzero(self.cmd[1:] != self.cmd[:-1]) + 1
        apart = np.flatnonzero(self.t[change[1:]] - self.t[change[:-1]] >= 0.07)  # rests within a travel are shorter
        self.a = change[np.r_[0, apart + 1]]          # first sample of each travel
        self.b = change[np.r_[apart, len(change) - 1]] + 1  # first sample of the dwell after it
        self.e = np.r_[self.a[1:], len(self.t)]       # end of the dwell
        longer = self.e - self.b >= self.b - self.a
        middle = np.where(longer, (self.b + self.e) // 2, (self.a + self.b) // 2)
        self.kind = np.array([names[k] for k in code[np.minimum(middle, len(code) - 1)]])
        self.frm, self.to = self.cmd[self.a - 1], self.cmd[self.b]
        self.dir = np.sign(self.to - self.frm).astype(int)
        self.dwell = self.t[self.e - 1] - self.t[self.b]
        self.travel = self.t[self.b - 1] - self.t[self.a - 1]

    def stops(self):
        """Stops of the stair: target index, direction, cycle, and the samples they are read from."""
        k = np.flatnonzero((self.kind == STAIR) & (self.dir != 0) & (self.e - self.b >= 12))
        n = self.e[k] - self.b[k]
        tail = np.maximum(12, (0.4 * n).astype(int))
        targets, which = np.unique(np.round(self.to[k], 3), return_inverse=True)
        side = (self.dir[k] < 0).astype(int)
        cycle = np.zeros(len(k), dtype=int)
        for i in range(len(targets)):
            for s in (0, 1):
                mine = (which == i) & (side == s)
                cycle[mine] = np.arange(mine.sum())
        both = [i for i in range(len(targets)) if all(((which == i) & (side == s)).any() for s in (0, 1))]
        keep = np.isin(which, both)
        new = np.searchsorted(both, which[keep])
        return dict(target=targets[both], which=new, side=side[keep], cycle=cycle[keep],
                    start=(self.e[k] - tail)[keep], end=self.e[k][keep])


def positioning(st, dev, quantum):
    """ISO 230-2 from all cycles, with their standard deviations over resampled cycles."""
    n = st["cycle"].max() + 1
    x = np.full((len(st["target"]), 2, n), np.nan)
    x[st["which"], st["side"], st["cycle"]] = dev
    x = x[:, :, ~np.isnan(x).any(axis=(0, 1))]  # whole cycles only
    n = x.shape[2]

    def figures(x):  # [target, side, ..., cycle]
        m, s = x.mean(axis=-1), x.std(axis=-1, ddof=1)
        b = m[:, 0] - m[:, 1]
        r = np.maximum(2 * s[:, 0] + 2 * s[:, 1] + abs(b), 4 * s.max(axis=1))
        return {
            "reversal_error": abs(b).max(axis=0), "mean_reversal": b.mean(axis=0), "repeatability": r.max(axis=0),
            "systematic_deviation": m.max(axis=(0, 1)) - m.min(axis=(0, 1)),
            "accuracy": (m + 2 * s).max(axis=(0, 1)) - (m - 2 * s).min(axis=(0, 1)),
            "pose_repeatability": 3 * np.sqrt((s ** 2).mean(axis=(0, 1))),
        }
    out = figures(x)
    pick = np.random.default_rng(20230).integers(0, n, (REPLICAS, n))
    boot = figures(x[:, :, pick])
    return {k: (float(v), 2 * float(np.hypot(boot[k].std(), quantum / math.sqrt(6)))) for k, v in out.items()}


def ramp_points(j, defl, raising_only):
    """Means over stretches of a ramp: 3 deg of command, 1 deg near the hanging pose."""
    k = np.flatnonzero((j.kind == RAMP) & (j.travel >= 1) & (j.dir != 0))
    idx = np.concatenate([np.arange(j.a[i], j.b[i]) for i in k])
    of = np.repeat(np.arange(len(k)), j.b[k] - j.a[k])
    ok = abs(j.ang[idx] - j.ang[j.a[k]][of]) >= 6
    idx, of = idx[ok], of[ok]
    d = j.cmd[idx] - j.setup["load"]["down_deg"]
    bins = np.where(abs(d) < 12, 10000 + np.floor(d), np.floor(d / 3))
    edge = np.flatnonzero(np.r_[True, (bins[1:] != bins[:-1]) | (of[1:] != of[:-1])])
    n = np.diff(np.r_[edge, len(idx)])
    mean = lambda x: np.add.reduceat(x[idx], edge) / n
    load, y, angle, dirs = mean(j.load), mean(defl), mean(j.ang), j.dir[k][of[edge]]
    keep = n >= 6
    if raising_only:
        keep &= load * dirs < 0
    return load[keep], y[keep], angle[keep], dirs[keep]


def stack_fit(cols, y):
    """Least squares for a stack of designs [case, row, column]: coefficients and sums of squares."""
    scale = 1 / np.sqrt((cols ** 2).sum(axis=1))
    a = cols * scale[:, None, :]
    coef = np.linalg.solve(a.transpose(0, 2, 1) @ a, (a.transpose(0, 2, 1) @ y[..., None]))[..., 0]
    rss = ((y - (a @ coef[..., None])[..., 0]) ** 2).sum(axis=1)
    return coef * scale, rss


def loop(j, st, path, knee):
    """Dead zone, slope, friction gap and span knee fitted together."""
    defl = j.paths[path]
    shift = path == "transmission"
    load, y, angle, dirs = ramp_points(j, defl, not shift)
    static = np.zeros(len(load), dtype=bool)
    if not shift:
        more = [means(x, st["start"], st["end"]) for x in (j.load, defl, j.ang)]
        load, y, angle = (np.r_[m, x] for m, x in zip(more, (load, y, angle)))
        dirs = np.r_[1 - 2 * st["side"], dirs]
        static = np.r_[np.ones(len(more[0]), dtype=bool), static]
    top = abs(load).max()
    keep = abs(load) >= (0.025 if shift else 0.08) * top
    load, y, angle, dirs, static = load[keep], y[keep], angle[keep], dirs[keep], static[keep]
    wave = np.cos(np.radians(angle)) - 0.8
    gap = np.where(static, 0, -dirs)

    def design(f, m):  # f and m of one length
        tau = load - np.where(static, 0, 1) * dirs * np.asarray(f)[:, None] * shift
        one = np.ones_like(tau)
        cols = [one, tau, np.sign(tau)]
        if m is not None:
            cols.append(np.sign(tau) * np.maximum(0, abs(tau) - np.asarray(m)[:, None]))
        if not shift:
            cols.append(one * gap)
        cols.append(one * wave)
        return np.stack(cols, axis=-1)

    def search(fs, ms=None):
        if ms is None:
            ff, mm = np.asarray(fs, dtype=float), None
        else:
            ff, mm = (g.ravel() for g in np.meshgrid(fs, ms, indexing="ij"))
        best = None
        for i in range(0, len(ff), 64):  # stacks that stay in the cache
            c, rss = stack_fit(design(ff[i:i + 64], None if mm is None else mm[i:i + 64]), np.broadcast_to(y, (len(ff[i:i + 64]), len(y))))
            k = int(np.argmin(rss))
            if best is None or rss[k] < best[0]:
                best = (rss[k], c[k], ff[i + k], None if mm is None else mm[i + k])
        return best
    fs = np.linspace(0, 0.95 * top, 121) if shift else [0.0]
    best = search(fs)
    width = top / 80
    for _ in range(4 if shift else 0):
        new = search(np.linspace(max(0, best[2] - width), best[2] + width, 9))
        best, width = (new if new[0] <= best[0] else best), width / 4
    slope, found = best[1][1], None
    if knee:
        fs = np.linspace(max(0, best[2] - top / 20), best[2] + top / 20, 11) if shift else [0.0]
        found = search(fs, np.linspace(0.05 * top, 0.9 * top, 52))
    rss, coef, f, _ = best
    s2 = rss / (len(y) - len(coef))
    d = design([f], None)[0]
    cov = np.linalg.inv(d.T @ d) * s2
    out = {"compliance": (float(slope), 2 * math.sqrt(cov[1, 1])), "play": (float(2 * coef[2]), 4 * math.sqrt(cov[2, 2]))}
    if path != "transmission":
        s = j.setup["servo"]
        out["play"] = (out["play"][0] - s["deadband_us"] * s["travel_deg"] / (s["pulse_us"][1] - s["pulse_us"][0]), out["play"][1])
    if found is not None:
        out["knee_gain"] = (float(best[0] / found[0]), 0.0)
    return out


def friction(j):
    """Friction from the current of the ramps that raise the load, and its slope over speed."""
    k = np.flatnonzero((j.kind == RAMP) & (j.travel >= 1) & (j.dir != 0))
    idx = np.concatenate([np.arange(j.a[i], j.b[i]) for i in k])
    of = np.repeat(np.arange(len(k)), j.b[k] - j.a[k])
    ok = abs(j.ang[idx] - j.ang[j.a[k]][of]) >= 6
    idx, of = idx[ok], of[ok]
    bins = np.rint(j.ang[idx])
    edge = np.flatnonzero(np.r_[True, (bins[1:] != bins[:-1]) | (of[1:] != of[:-1])])
    n = np.diff(np.r_[edge, len(idx)])
    mean = lambda x: np.add.reduceat(x[idx], edge) / n
    load, amps, angle = mean(j.load), mean(j.amp), mean(j.ang)
    dirs, rate, cycle = j.dir[k][of[edge]], (abs(j.to - j.frm) / j.travel)[k][of[edge]], of[edge]
    raising = (load * dirs < 0) & (n >= 4)
    x, a = abs(load[raising]), amps[raising] - j.idle

    def fit(f):
        c = x + f
        s = (c @ a) / (c @ c)
        return s, ((a - s * c) ** 2).sum()
    f = optimize.minimize_scalar(lambda f: fit(f)[1], bounds=(0, 3 * x.max()), method="bounded").x
    scale = fit(f)[0]
    nm = np.maximum(0, a) / scale - x
    r = rate[raising]
    slow = r < 1.2 * rate.min()
    total = float(np.median(nm[slow]))
    visc, cov = np.polyfit(np.radians(r), nm, 1, cov=True)
    # Bumps: the mean friction over 4 deg of angle, over passes, against their median.
    where = np.floor(angle[raising][slow] / 4).astype(int)
    where -= where.min()
    profile = np.bincount(where, nm[slow]) / np.maximum(1, np.bincount(where))
    mad = 1.4826 * np.median(abs(profile - np.median(profile)))
    return {"friction": (total, 2 * float(nm[slow].std() / math.sqrt(slow.sum()) + 0.01 * total)),
            "viscous_friction": (float(visc[0]), 2 * math.sqrt(cov[0, 0])),
            "tight_spots": (int((profile > np.median(profile) + 4 * mad + 0.3 * total).sum()), 0)}


def line_at(rated, volts, key):
    """A rated figure at a voltage: on the line between the ratings, beyond them in proportion."""
    at = np.array([r["volts"] for r in rated])
    return np.interp(volts, at, [r[key] for r in rated]) * np.where(volts < at[0], volts / at[0], np.where(volts > at[-1], volts / at[-1], 1))


def stall_time(j):
    """Time off the command, at rest, at high current, for more than 0.25 s."""
    lag = abs(j.cmd - j.mot) > 2 * j.band
    amps = ndimage.uniform_filter1d(j.amp, int(round(0.04 / j.dt)) | 1)
    speed = signal.savgol_filter(j.mot, int(round(0.08 / j.dt)) | 1, 1, deriv=1, delta=j.dt)
    stuck = lag & (amps > 0.85 * line_at(j.rated, j.vol, "stall_a")) & (abs(speed) < 0.02 * line_at(j.rated, j.vol, "no_load_deg_per_s"))
    edge = np.flatnonzero(np.diff(np.r_[0, stuck.astype(np.int8), 0]))
    d = j.t[np.maximum(edge[1::2] - 1, 0)] - j.t[edge[0::2]]
    return float(d[d > 0.25].sum())


def sag(j):
    """No-load voltage by a line through bins of current, less the lowest median of three."""
    low = float(ndimage.median_filter(j.vol, 3)[1:-1].min())
    lo, hi = j.amp.min(), j.amp.max()
    k = np.minimum(19, (20 * (j.amp - lo) / (hi - lo)).astype(int))
    n = np.bincount(k, minlength=20)
    full = n > 0
    a, v = np.bincount(k, j.amp, 20)[full] / n[full], np.bincount(k, j.vol, 20)[full] / n[full]
    b, c = np.polyfit(a, v, 1, w=np.sqrt(n[full]))
    noise = 1.4826 * np.median(abs(j.vol - c - b * j.amp - np.median(j.vol - c - b * j.amp)))
    return float(c - low), 2 * float(noise)


def creep(j, defl):
    """Growth in the longest hold, from half a second on to its last tenth."""
    k = np.flatnonzero(j.kind == HOLD)
    k = k[np.argmax(j.dwell[k])]
    t = j.t[j.b[k]:j.e[k]] - j.t[j.b[k]]
    w = defl[j.b[k]:j.e[k]]
    return float(w[t >= 0.9 * t[-1]].mean() - w[(t >= 0.5) & (t <= 1.2)].mean())


def offset_step(j, defl):
    """The greatest lasting step between like rests: least squares for a step before every rest."""
    k = np.flatnonzero((j.e - j.b >= 25) & (j.dwell >= 0.2))
    y = means(defl, j.b[k] + (j.e[k] - j.b[k]) * 3 // 5, j.e[k])
    key = np.stack([np.round(j.to[k] * 10), j.dir[k], np.unique(j.kind[k], return_inverse=True)[1]])
    _, g = np.unique(key, axis=1, return_inverse=True)
    n = np.bincount(g)
    y = y - (np.bincount(g, y) / n)[g]
    after = np.cumsum((g[:, None] == np.arange(len(n)))[::-1], axis=0)[::-1]  # members from here on
    gram = after.sum(axis=1) - (after ** 2 / n).sum(axis=1)
    with_y = np.cumsum(y[::-1])[::-1]
    ok = gram >= 1
    gain = np.where(ok, with_y ** 2 / np.where(ok, gram, 1), 0)
    i = int(np.argmax(gain))
    total = (y ** 2).sum()
    size = with_y[i] / gram[i]
    real = abs(size) >= 0.27 and gain[i] > 0.7 * total
    return float(size) if real else 0.0


def response(j):
    """Step responses and ring-down by a matrix pencil of one mode."""
    q = 360 / j.setup["sensors"]["joint_counts"]
    rise, over, dead, settle, speed, hz, zeta = ([] for _ in range(7))
    for k in np.flatnonzero((j.kind == STEP) & (j.dwell >= 0.3)):
        a = j.a[k]
        i0, i1 = a - int(0.1 / j.dt), min(j.e[k], np.searchsorted(j.t, j.t[a] + 1.0))
        t, x = j.t[i0:i1] - (j.t[a] + j.t[a - 1]) / 2, j.ang[i0:i1]
        start = np.searchsorted(t, 0)
        tail = max(3, int(0.2 * (len(t) - start)))
        y0, y1 = x[:start].mean(), x[-tail:].mean()
        s = (x[start - 1:] - y0) / (y1 - y0)
        ts = t[start - 1:]

        def crossing(level):
            i = int(np.argmax(s >= level))
            return ts[i - 1] + (ts[i] - ts[i - 1]) * max(0, (level - s[i - 1]) / (s[i] - s[i - 1])) if i else ts[0]
        dead.append(crossing(max(0.02, 2 * q / abs(y1 - y0))))
        rise.append(crossing(0.9) - crossing(0.1))
        over.append(max(0, (s.max() - 1) * abs(y1 - y0)))
        out = np.flatnonzero(abs(x[start:] - y1) > max(0.02 * abs(j.to[k] - j.frm[k]), 2 * q))
        settle.append(t[start:][out[-1]] if len(out) else 0.0)
        w = int(round(0.02 / j.dt)) | 1
        speed.append(abs(signal.savgol_filter(x[start:], w, 1, deriv=1, delta=j.dt)).max())
        first = start + int(np.argmax((x[start:] - y1) * np.sign(y1 - y0) >= 0))
        ring = x[first:] - y1
        dec = max(1, len(ring) // 200)
        ring = ring[: len(ring) // dec * dec].reshape(-1, dec).mean(axis=1)
        half = len(ring) // 2
        h = linalg.hankel(ring[:len(ring) - half], ring[len(ring) - half - 1:])
        u, sv, vt = linalg.svd(h, full_matrices=False)
        v = vt[:2].T
        z = linalg.eigvals(linalg.lstsq(v[:-1], v[1:])[0])
        p = np.log(z[0]) / (dec * j.dt)
        if abs(p.imag) > 0:
            hz.append(abs(p) / (2 * math.pi))
            zeta.append(-p.real / abs(p))
    mean = lambda x: (float(np.mean(x)), 2 * float(np.std(x, ddof=1) / math.sqrt(len(x))))
    return {"dead_time": mean(dead), "rise_time": mean(rise), "overshoot": mean(over), "settle_time": mean(settle),
            "peak_speed": mean(speed), "natural_frequency": mean(hz), "damping_ratio": mean(zeta)}


def hunting(j):
    """Share of the long rests in which one frequency between 2 and 20 Hz has half of the scatter."""
    found = count = 0
    for k in np.flatnonzero(j.dwell >= 2.2):
        i0 = np.searchsorted(j.t, j.t[j.b[k]] + 1)
        x = j.ang[i0:min(j.e[k], np.searchsorted(j.t, j.t[i0] + 4))]
        tt = np.linspace(-1, 1, len(x))
        x = x - np.polyval(np.polyfit(tt, x, 2), tt)
        f, p = signal.periodogram(x, 1 / j.dt)
        peak = p[(f >= 2) & (f <= 20)].max() / p.sum()
        found += peak > 0.5 and x.std() * math.sqrt(2) > 0.1
        count += 1
    return int(found), count


def sensors(j):
    """What no joint can do: jumps there and back, standing readings, noise at rest."""
    out = {}
    fastest = max(r["no_load_deg_per_s"] for r in j.rated)
    for name, x in (("joint", j.ang), ("motor", j.mot)):
        d = np.diff(x)
        jump = abs(d) > np.maximum(3, 4 * fastest * np.diff(j.t))
        out[name + "_jumps"] = int((jump[:-1] & jump[1:]).sum())
        edge = np.flatnonzero(np.r_[True, d != 0, True])
        long = np.flatnonzero(j.t[edge[1:] - 1] - j.t[edge[:-1]] > 0.8)
        out[name + "_stands"] = sum(1 for i in long if np.ptp(j.cmd[edge[i]:edge[i + 1]]) > 12)
        k = np.flatnonzero(j.dwell >= 0.4)
        idx = np.concatenate([np.arange((j.b[i] + j.e[i]) // 2 + 1, j.e[i] - 1) for i in k])
        out[name + "_noise"] = float(1.4826 * np.median(abs(x[idx + 1] - 2 * x[idx] + x[idx - 1])) / math.sqrt(6))
        out[name + "_turns"] = int((abs(d) > 180).sum())
    step = np.diff(j.t)
    out["jitter"] = float(1.4826 * np.median(abs(step - j.dt * np.maximum(1, np.round(step / j.dt)))) / math.sqrt(2))
    return out


def analyse(setup, cols):
    j = Joint(setup, cols)
    st = j.stops()
    q = 360 / setup["sensors"]["joint_counts"]
    m = {f"{k} sensor": (v, 0) for k, v in sensors(j).items()}
    found, count = hunting(j)
    m["hunting "] = (found / max(1, count), 0)
    for path, defl in j.paths.items():
        quantum = q * (math.sqrt(2) if path == "transmission" else 1)
        for k, v in positioning(st, means(defl, st["start"], st["end"]), quantum).items():
            m[f"{k} {path}"] = v
        for k, v in loop(j, st, path, setup.get("belt") is not None and path != "servo").items():
            m[f"{k} {path}"] = v
        m[f"creep {path}"] = (creep(j, defl), 0)
        m[f"offset_step {path}"] = (offset_step(j, defl), 0)
    for k, v in friction(j).items():
        m[f"{k} total"] = v
    rest = np.flatnonzero(j.e - j.b >= 12)
    loads = abs(means(j.load, (j.b[rest] + j.e[rest]) // 2, j.e[rest]))
    volts = means(j.vol, (j.b[rest] + j.e[rest]) // 2, j.e[rest])
    m["load_torque_peak "] = (float(loads.max()), 0)
    m["torque_use "] = (float(((loads + m["friction total"][0]) / line_at(j.rated, volts, "stall_nm")).max()), 0)
    m["stall_time "] = (stall_time(j), 0)
    m["supply_sag "] = sag(j)
    gaps = np.diff(j.t)
    lost = np.round(gaps[gaps > 1.6 * j.dt] / j.dt).sum() - (gaps > 1.6 * j.dt).sum()
    m["lost_samples "] = (float(lost / (lost + len(j.t))), 0)
    for k, v in response(j).items():
        m[k + " "] = v
    return m


def clocks():
    return np.array([time.perf_counter(), time.process_time()])


def main(run):
    info = json.load(open(run + "/run.json"))
    setups = {j["setup"]["name"]: j["setup"] for j in info["joints"]}
    read, compute = np.zeros(2), np.zeros(2)  # by the clock, and of the processors
    out, samples = {}, 0
    f = sealed.File(run + "/samples.parquet")
    for group in range(f.groups):
        start = clocks()
        name, cols = f.read(group)
        read += clocks() - start
        start = clocks()
        out[name] = analyse(setups[name], cols)
        compute += clocks() - start
        samples += len(cols["time_us"])
        del cols
    with open("/proc/self/status") as status:  # getrusage begins with the parent's peak
        peak = next(int(line.split()[1]) / 1024 for line in status if line.startswith("VmHWM"))
    json.dump({"read_s": read[0], "read_cpu_s": read[1], "compute_s": compute[0], "compute_cpu_s": compute[1], "samples": samples, "peak_mb": peak, "joints": out}, sys.stdout, default=float)


main(sys.argv[1])
