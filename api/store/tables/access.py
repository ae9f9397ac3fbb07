"""Accounts, keys, sessions, and who stands in which relation to which tank.

Flow     columns -> **tables** -> store
"""
