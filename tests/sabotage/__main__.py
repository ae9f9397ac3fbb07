"""Run every seeded fault, or those that are named; exit 1 where tests stayed green."""

import os
import re
import subprocess
import sys
from pathlib import Path

from tests.sabotage.faults import FAULTS, Fault
from tests.sabotage.plugin import VARIABLE

ROOT = Path(__file__).parents[2]
SOME_FAILED = 1
"""How pytest ends when tests failed; anything else is no proof."""


def is_caught(name: str, fault: Fault) -> tuple[bool, str]:
    """Run the fault's tests with it planted; whether some failed, and what pytest said at last."""
    words = [sys.executable, "-m", "pytest", "-n", "0", "-q", "-p", "tests.sabotage.plugin", *fault.tests]
    if fault.only:
        words += ["-k", fault.only]
    done = subprocess.run(
        words, cwd=ROOT, env={**os.environ, VARIABLE: name}, check=False, capture_output=True, text=True
    )
    lines = done.stdout.strip().splitlines() or [done.stderr.strip()[-200:]]
    return done.returncode == SOME_FAILED, re.sub(r" in [\d.]+s.*", "", lines[-1])


def main() -> int:
    """Run them; how the process ends."""
    names = sys.argv[1:] or list(FAULTS)
    green = []
    for name in names:
        caught, last = is_caught(name, FAULTS[name])
        print(f"{'red  ' if caught else 'GREEN'}  {FAULTS[name].promise:4}  {name}: {last}", flush=True)
        if not caught:
            green.append(name)
    print(f"{len(names) - len(green)} of {len(names)} faults were caught")
    return 1 if green else 0


if __name__ == "__main__":
    sys.exit(main())
