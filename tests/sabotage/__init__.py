"""Seeded faults: each breaks one promise on purpose, and the tests that keep the promise must turn red.

``python -m tests.sabotage`` runs the tests of each fault with the fault planted, and fails where they stay
green: a test that has never been seen red proves nothing.

Flow     `faults` -> `plugin` plants one in a run of pytest -> **red, or the run of all fails**
"""
