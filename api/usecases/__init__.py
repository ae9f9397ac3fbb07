"""What the service does, one verb phrase a module: gather, decide, save.

Each takes a `Session` (or the `Store`, where the deciding must not hold a transaction) and the ports
it needs as arguments; none knows the web.
"""
