"""The service's tests."""
