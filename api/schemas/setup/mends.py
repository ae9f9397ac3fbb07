"""What the engine says is wrong with a file, said at the question that asked for it.

Lengths in a mend are given in the unit that the user chose, and what only the writer of a file can do is
said as a page has it.

Flow     the engine's problems -> **problems at questions** -> page
"""

import re
from collections.abc import Iterable, Mapping

from api.schemas.setup.questions import UNIT_WORDS, Question, unit_of
from forecaster.errors import Problem
from forecaster.units import LITRES_PER, MM_PER

_CONFIRM = re.compile(r'; if it is right, add confirmed = \["\w+"\]')
_IN_MM = re.compile(r"(\d[\d,]*(?:\.\d+)?)(?: to (\d[\d,]*(?:\.\d+)?))? mm\b")
_SPAN = re.compile(r"(\d{3,}(?:\.\d+)?) to (\d{3,}(?:\.\d+)?)(?! ?\w)")
_IN_LITRES = re.compile(r"(\d[\d,]*(?:\.\d+)?)(?: to (\d[\d,]*(?:\.\d+)?))? l\b")
_AS_FILE = re.compile(r"; \d[\d.]* (?:cm|m) would be [\d.]+ mm")
_SAID: Mapping[tuple[str, str], str] = {
    ("missing", "rows"): "copy the maker’s table, at least two lines",
    (
        "out_of_range",
        "tank.height_mm",
    ): "the height is less than the width: choose the oval lying flat, or swap them",
    (
        "out_of_range",
        "tank.width_mm",
    ): "the width is less than the height: choose the one standing, or swap them",
}
_ELSEWHERE = {
    "tank.shape": "tank.capacity_l",
    "tank.table": "tank.rows",
    "tank.safe_fill_fraction": "tank.capacity_l",
}
"""Where a problem of a key that no page asks for is told."""


def at_questions(
    problems: Iterable[Problem], questions: Iterable[Question], texts: Mapping[str, str]
) -> list[Problem]:
    """Give each problem the name of its question; those of other pages are left out.

    Examples
    --------
    >>> height = Question("height", "tank.height_mm", "Height", measure="length")
    >>> bad = Problem("implausible_height", "tank.height_mm", "give a value of 300 to 4000 mm")
    >>> at_questions([bad], [height], {"length_unit": "cm"})[0].mend
    'give a value of 30 to 400 cm'
    """
    asked = {question.key: question for question in questions if question.key}
    asked |= {question.name: question for question in asked.values()}
    asked |= {question.name: question for question in questions}
    found = []
    for problem in problems:
        field = problem.field if problem.field in asked else _ELSEWHERE.get(problem.field, "")
        question = asked.get(field) or _first(asked, problem.field)
        if question is not None:
            found.append(Problem(problem.code, question.name, _mend(problem, question, texts)))
    return list(dict.fromkeys(found))


def _first(asked: Mapping[str, Question], field: str) -> Question | None:
    """The first measure, where dimensions together are wrong and nothing else asks for the key."""
    return next(iter(asked.values()), None) if field in _ELSEWHERE else None


def _mend(problem: Problem, question: Question, texts: Mapping[str, str]) -> str:
    if problem.code == "missing":
        return _SAID.get(("missing", question.name), "give it, or pass this page over")
    if problem.code == "out_of_range" and "shape" in problem.mend:
        return _SAID.get((problem.code, problem.field), problem.mend)
    if problem.code == "capacity_differs":
        made = re.search(r"make (\d+) l", problem.mend)
        litres = _litres(made[1], texts) if made else "another amount"
        return (
            f"the measures make {litres}, which is not what the label says: check both; if both are right, tick "
            "that below"
        )
    mend = _AS_FILE.sub("", problem.mend)
    mend = in_units(_CONFIRM.sub("; if it is right, tick that below", mend), texts)
    return _SPAN.sub(lambda m: _both(m, texts, "length"), mend) if question.measure == "length" else mend


def in_units(mend: str, texts: Mapping[str, str]) -> str:
    """Write millimetres and litres of a mend in the units that the user chose.

    Examples
    --------
    >>> in_units("the tank is 1,200 mm high", {"length_unit": "in"})
    'the tank is 47.24 in high'
    """
    mend = _IN_MM.sub(lambda m: _both(m, texts, "length"), mend)
    return _IN_LITRES.sub(lambda m: _both(m, texts, "volume"), mend)


def _both(found: re.Match[str], texts: Mapping[str, str], measure: str) -> str:
    unit = unit_of("length" if measure == "length" else "volume", texts)
    factor = MM_PER[unit] if measure == "length" else LITRES_PER[unit]
    parts = [f"{float(part.replace(',', '')) / factor:.4g}" for part in found.groups() if part]
    return f"{' to '.join(parts)} {unit if measure == 'length' else UNIT_WORDS[unit]}"


def _litres(text: str, texts: Mapping[str, str]) -> str:
    unit = unit_of("volume", texts)
    return f"{float(text) / LITRES_PER[unit]:,.0f} {UNIT_WORDS[unit]}"
