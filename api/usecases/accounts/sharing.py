"""Sharing a tank: who may be invited to what, and for how long.

Flow     owner -> **invitation** -> whoever takes it up
"""

from datetime import timedelta

JOB_LASTS = timedelta(days=30)
"""So long an installer's job stays open unless it is closed earlier."""
SHARED_AS = ("member", "owner", "installer", "distributor")
