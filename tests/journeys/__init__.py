"""Whole ways through the service, as a person goes them."""
