"""The tests. A package, so that no installed package called `tests` stands in front of it."""
