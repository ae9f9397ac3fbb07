"""How a sensor's own messages are read: where in its JSON the level, the time and the temperatures stand.

The owner of a sensor often cannot change what it sends. A mapping says so much and no more: pointers
into the message, and units from a closed list. There are no formulas in it, and no code.

Flow     draft (JSON) -> `draft` -> Mapping;  message (JSON) + Mapping -> `apply` -> **readings as sent**
Source   RFC 6901 "JSON Pointer"

=========  =====================================================
`pointer`  JSON pointers
`units`    the closed list of units, and forms of time
`draft`    a mapping as it is sent, or what is wrong where
`apply`    what a message holds by a mapping
=========  =====================================================
"""

from api.schemas.mapping.apply import Applied, apply_mapping
from api.schemas.mapping.draft import (
    MAPPING_NAMES,
    MAPPING_SCHEMA,
    Mapping,
    mapping_json,
    read_mapping,
    stored_mapping,
)

__all__ = [
    "MAPPING_NAMES",
    "MAPPING_SCHEMA",
    "Applied",
    "Mapping",
    "apply_mapping",
    "mapping_json",
    "read_mapping",
    "stored_mapping",
]
