"""The pages for people."""
