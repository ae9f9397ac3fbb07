"""Run the closed loop: `python -m tests.accuracy.closed_loop [houses] [seed]`; 20 seconds a house."""

import sys

from tests.accuracy.closed_loop.run import main

given = [int(word) for word in sys.argv[1:3]]
main(houses=given[0] if given else 40, seed=given[1] if len(given) > 1 else None)
