"""A tank's sight in words and rows, ready for the template.

Flow     sight -> **telling** -> render
"""

from api.pages.telling.left_out import LeftOut, Reading
from api.pages.telling.page import AnswerPage, tell
from api.pages.telling.weeks import Week, weeks_ahead

__all__ = ["AnswerPage", "LeftOut", "Reading", "Week", "tell", "weeks_ahead"]
