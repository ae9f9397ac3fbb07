"""Tests of README.md and DEVELOPERS.md, and what these two generate from the code."""
