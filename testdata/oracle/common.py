"""What the oracle scripts share: readings that every machine makes alike, and where results go."""
import json
import os
import sys


class Readings:
    """Pseudo-random readings by integer arithmetic alone (Knuth's MMIX generator, modulus 2^64), so that no
    library's release can change them."""

    def __init__(self, seed):
        self.state = seed

    def even(self):
        self.state = (6364136223846793005 * self.state + 1442695040888963407) % 2**64
        return (self.state >> 11) / 2**53

    def normal(self):
        """Nearly normal: twelve even numbers less six, to 6 decimals."""
        return round(sum(self.even() for _ in range(12)) - 6, 6)

    def normals(self, n):
        return [self.normal() for _ in range(n)]


def write(script, data):
    """Writes NAME.json beside NAME.py, or into the folder given as the argument."""
    folder = sys.argv[1] if len(sys.argv) > 1 else os.path.dirname(os.path.abspath(script))
    name = os.path.splitext(os.path.basename(script))[0] + ".json"
    with open(os.path.join(folder, name), "w") as f:
        json.dump(data, f, indent=0)
        f.write("\n")
