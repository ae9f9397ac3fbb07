"""Tests of how the code is built: its layers, names, docstrings and its own tests."""
