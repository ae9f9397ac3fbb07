"""Tests of messages as they are sent."""
