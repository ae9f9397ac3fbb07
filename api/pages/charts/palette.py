"""The colours of the fan, as drawn on paper; the style sheet turns each of them for a dark screen.

Oil is one warm brown in steps; nothing is red or green, because colour says how much and never how
good. A colour used here must have its rule in page.css (a test holds them together).
"""

OIL_95 = "#f1e1cb"
OIL_80 = "#dfbc8b"
OIL_50 = "#c08f54"
OIL_LINE = "#5f3a10"
INK = "#2a2118"
FAINT = "#6b5f52"
GRID = "#e6ddd0"
HATCH = "#2a2119"
SUN = "#d3bd68"
WOOD = "#8b9b6f"

COLOURS = (OIL_95, OIL_80, OIL_50, OIL_LINE, INK, FAINT, GRID, HATCH, SUN, WOOD)
