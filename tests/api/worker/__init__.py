"""Tests of what the service does by itself."""
