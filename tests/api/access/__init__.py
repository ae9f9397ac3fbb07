"""Accounts, relations, and who may see what."""
