"""``python -m tests.accuracy.world [houses]``: what the two worlds are like, beside measured houses."""

import sys

from tests.accuracy.world import REPORTING, TUNING
from tests.accuracy.world.figures import table

if __name__ == "__main__":
    print(table((TUNING, REPORTING), houses=int(sys.argv[1]) if len(sys.argv) > 1 else 40, seed=11))
