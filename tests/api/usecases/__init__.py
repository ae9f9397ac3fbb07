"""Tests of one part of the service."""
