"""The steps, each a file that never changes once released."""
