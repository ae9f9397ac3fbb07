"""Tests of the ways out, against real servers."""
