#!/usr/bin/python3
"""Runs every oracle script again and compares its result with the one that is committed.

Run anywhere: python3 check.py. Numbers must agree to 1e-8 of the greatest in their list (1e-8 of themselves where they
stand alone), those below a key "monte_carlo" to 1 %: another release of a library may round otherwise, not answer otherwise.
"""
import glob
import json
import os
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
NOT_ORACLES = {"common.py", "check.py"}
EXACT, MONTE_CARLO = 1e-8, 1e-2


def differences(path, old, new, tol):
    if type(old) is not type(new) and not (isinstance(old, (int, float)) and isinstance(new, (int, float))):
        yield f"{path}: {type(old).__name__} became {type(new).__name__}"
    elif isinstance(old, dict):
        if old.keys() != new.keys():
            yield f"{path}: keys {sorted(old.keys() ^ new.keys())} on one side only"
        for k in old.keys() & new.keys():
            yield from differences(f"{path}.{k}", old[k], new[k], MONTE_CARLO if k == "monte_carlo" else tol)
    elif isinstance(old, list):
        if len(old) != len(new):
            yield f"{path}: {len(old)} values became {len(new)}"
        elif old and all(isinstance(v, (int, float)) for v in old + new):
            scale = max(abs(v) for v in old)
            for i, (a, b) in enumerate(zip(old, new)):
                if not abs(a - b) <= tol * scale:
                    yield f"{path}[{i}]: {a} became {b}"
        else:
            for i, (a, b) in enumerate(zip(old, new)):
                yield from differences(f"{path}[{i}]", a, b, tol)
    elif isinstance(old, (int, float)) and not isinstance(old, bool):
        if not abs(old - new) <= tol * abs(old):
            yield f"{path}: {old} became {new}"
    elif old != new:
        yield f"{path}: {old!r} became {new!r}"


def main():
    scripts = sorted(os.path.basename(p) for p in glob.glob(os.path.join(HERE, "*.py")) if os.path.basename(p) not in NOT_ORACLES)
    results = sorted(os.path.basename(p) for p in glob.glob(os.path.join(HERE, "*.json")))
    bad = []
    if [s[:-3] for s in scripts] != [r[:-5] for r in results]:
        bad.append(f"scripts {scripts} and results {results} are not pairs")
    with tempfile.TemporaryDirectory() as folder:
        for s in scripts:
            name = s[:-3] + ".json"
            subprocess.run([sys.executable, "-B", os.path.join(HERE, s), folder], check=True)
            with open(os.path.join(HERE, name)) as f, open(os.path.join(folder, name)) as g:
                found = list(differences(name, json.load(f), json.load(g), EXACT))
            print(f"{s}: {'as committed' if not found else f'{len(found)} differences'}")
            bad += found[:20]
    for line in bad:
        print("stale:", line, file=sys.stderr)
    return 1 if bad else 0


sys.exit(main())
