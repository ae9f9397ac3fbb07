"""The pictures of a tank's answer: the fan of litres with the order window, and the tank itself.

Flow     forecast, tank -> **pictures** -> template

==========  ==========================================================================
`palette`   the colours, each known to the style sheet too
`days`      which days are shown, and where their axis has marks
`fan`       litres ahead, on one time axis with the strips
`strips`    under it: the chance of being dry, its two dates, the order window
`told`      the words on it, and the sentence for those who do not see it
`vega`      the pieces of its description
`svg`       a chart's description to SVG, drawn once
`section`   the tank in its section, to scale
==========  ==========================================================================
"""

from api.pages.charts.days import DaySpan, days_shown
from api.pages.charts.fan import FanPicture, draw_fan
from api.pages.charts.section import SectionPicture, draw_section
from api.pages.charts.told import floor_l, known_to_l

__all__ = [
    "DaySpan",
    "FanPicture",
    "SectionPicture",
    "days_shown",
    "draw_fan",
    "draw_section",
    "floor_l",
    "known_to_l",
]
