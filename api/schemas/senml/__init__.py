"""Sensor Measurement Lists: a pack's records resolved, and read as levels of a tank.

Flow     JSON value -> `resolve` -> resolved records -> `levels` -> **readings as sent**
Source   RFC 8428 "Sensor Measurement Lists (SenML)"; RFC 8798 for secondary units such as mm
"""

from api.schemas.senml.levels import PACK_SCHEMA, Pack, read_pack
from api.schemas.senml.resolve import MEDIA_TYPE, Resolved, resolve_pack

__all__ = ["MEDIA_TYPE", "PACK_SCHEMA", "Pack", "Resolved", "read_pack", "resolve_pack"]
