"""What is asked when a tank is set up by page, and what the answers say in the keys of the two files.

The engine's own readers judge the answers, as they judge tank.toml, survey.toml and a message over HTTP:
here nothing is checked but what only a form has (a number written as people write it, its unit).

Flow     texts typed -> `questions`, `steps` -> **keys of tank.toml and survey.toml** -> `mends` where wrong

===========  ==========================================================================
`questions`  what a question is, and how a text becomes a value in the engine's unit
`steps`      the questions, in the order of the pages
`answers`    answers to keys, and keys back to answers
`mends`      what the engine says is wrong, at its question and in the user's unit
===========  ==========================================================================
"""

from api.schemas.setup.answers import Answers, check_step, survey_values, tank_values, texts_of
from api.schemas.setup.questions import Question, Step
from api.schemas.setup.steps import SHAPES, STEPS

__all__ = [
    "SHAPES",
    "STEPS",
    "Answers",
    "Question",
    "Step",
    "check_step",
    "survey_values",
    "tank_values",
    "texts_of",
]
