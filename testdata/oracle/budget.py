#!/usr/bin/python3
"""Writes budget.json: greatest loads of legs by a search of SciPy over their stance and numeric gradients of the potential,
and shares of a weight by constrained least squares; nothing here knows the formulas of package budget.

Run: python3 budget.py    (the result here: Debian 12, NumPy 1.24, SciPy 1.10)
"""
import numpy as np
from scipy import optimize

from common import Readings, write

rng = Readings(71)
G = 9.80665


def points(q, leg):
    """Yaw axis, hip axis, knee axis, foot, and the centres of the links."""
    l1, l2, l3 = leg["l"]
    out = np.array([np.cos(q[0]), np.sin(q[0]), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    femur = np.cos(q[1]) * out + np.sin(q[1]) * up
    tibia = np.cos(q[1] + q[2]) * out + np.sin(q[1] + q[2]) * up
    hip = l1 * out
    knee = hip + l2 * femur
    c = leg["centre"]
    return knee + l3 * tibia, [c[0] * out, hip + c[1] * femur, knee + c[2] * tibia]


def gradient(f, q):
    """Central differences with Richardson's extrapolation."""
    def d(i, h):
        e = np.zeros(3)
        e[i] = h
        return (f(q + e) - f(q - e)) / (2 * h)
    return np.array([(4 * d(i, 1e-3) - d(i, 2e-3)) / 3 for i in range(3)])


def angles(reach, height, leg):
    """The pose by a root search from a bent-knee start."""
    def miss(x):
        p, _ = points(np.array([0, x[0], x[1]]), leg)
        return [p[0] - reach, p[2] + height]
    for hip in np.arange(-0.5, 1.6, 0.25):
        for knee in np.arange(-2.9, -0.2, 0.3):
            x, _, _, _ = optimize.fsolve(miss, [hip, knee], full_output=True, xtol=1e-13)
            if -np.pi < x[1] < 0 and abs(x[0]) < np.pi and max(map(abs, miss(x))) < 1e-10:
                return np.array([0, x[0], x[1]])
    raise ValueError("no pose")


def asks(q, leg, force, mu):
    """The greatest torque of each motor over all directions of the level force, by trying many."""
    worst = np.zeros(3)
    weight = gradient(lambda x: G * sum(m * p[2] for m, p in zip(leg["kg"], points(x, leg)[1])), q)
    jac = np.array([gradient(lambda x: points(x, leg)[0][k], q) for k in range(3)])
    for a in np.linspace(0, 2 * np.pi, 361):
        f = force * np.array([mu * np.cos(a), mu * np.sin(a), 1.0])
        t = weight - jac.T @ f
        if leg["knee_on_body"]:
            t[1] -= t[2]
        worst = np.maximum(worst, abs(t))
    return worst


legs = []
for i in range(6):
    l2 = 0.05 + 0.05 * rng.even()
    leg = {"l": [0.02 + 0.02 * rng.even(), l2, l2 * (1.2 + 0.4 * rng.even())], "kg": [0.06, 0.05 + 0.06 * rng.even(), 0.02 + 0.03 * rng.even()],
           "knee_on_body": i % 2 == 1, "mu": [0.0, 0.3, 0.5][i % 3], "limit": [0.4, 0.5, 0.3]}
    leg["centre"] = [0.5 * leg["l"][0], 0.4 * leg["l"][1], 0.45 * leg["l"][2]]
    leg["height"] = [0.6 * leg["l"][2], 0.8 * leg["l"][2]]
    leg["reach"] = [leg["l"][0] + 0.4 * l2, leg["l"][0] + 0.9 * l2]

    def carried(x):
        q = angles(x[1], x[0], leg)
        def over(force):
            return max(asks(q, leg, force, leg["mu"]) - leg["limit"])
        return optimize.brentq(over, 0, 500, xtol=1e-10)

    best = min((carried([h, r]), h, r) for h in np.linspace(*leg["height"], 5) for r in np.linspace(*leg["reach"], 5))
    end = optimize.minimize(carried, best[1:], method="Nelder-Mead", bounds=[leg["height"], leg["reach"]],
                            options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 400})
    force = min(best[0], end.fun)
    q = angles(leg["reach"][0], leg["height"][1], leg)
    leg.update(force_n=force, pose=list(q), torque_at_10_n=list(asks(q, leg, 10, leg["mu"])))
    legs.append(leg)

shares = []
for n in (3, 4, 5, 6):
    for _ in range(4):
        turn = 2 * np.pi * (np.arange(n) + 0.5 * np.array([rng.even() for _ in range(n)])) / n
        feet = np.array([[(0.1 + 0.05 * rng.even()) * np.cos(a), (0.1 + 0.05 * rng.even()) * np.sin(a)] for a in turn])
        at = np.array([0.03 * (rng.even() - 0.5), 0.03 * (rng.even() - 0.5)])
        # Equal springs under a stiff plate: least energy of the springs, no foot pulling.
        rows = np.vstack([np.ones(n), feet.T])
        right = np.array([1.0, *at])
        res = optimize.minimize(lambda f: 100 * f @ f, np.full(n, 1 / n), jac=lambda f: 200 * f, method="SLSQP", bounds=[(0, None)] * n,
                                constraints=[{"type": "eq", "fun": lambda f: 10 * (rows @ f - right), "jac": lambda f: 10 * rows}], options={"ftol": 1e-15, "maxiter": 500})
        most = max(-optimize.linprog(-np.eye(n)[k], A_eq=rows, b_eq=right, bounds=[(0, None)] * n, method="highs").fun for k in range(n))
        shares.append({"feet": feet.tolist(), "at": at.tolist(), "shares": [round(x, 7) + 0.0 for x in res.x], "most": most})

write(__file__, {"legs": legs, "shares": shares})
