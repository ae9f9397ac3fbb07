"""Tests of when something is said, and in which words."""
