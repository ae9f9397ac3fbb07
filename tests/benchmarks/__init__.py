"""Speed of the main jobs, measured in one run so that ratios hold; `make bench` writes results.json."""
