"""Chances, as people say them: always one in so many, or so many in ten.

Flow     chance of being dry -> **words** -> table, picture
"""

import math

from forecaster.phrases import chance_text


def chance_words(chance: float) -> str:
    """Say a chance, cautiously: towards the larger.

    Examples
    --------
    >>> chance_words(0.0), chance_words(0.1), chance_words(0.62), chance_words(0.97)
    ('less than 1 in 1,000', '1 in 10', '7 in 10', 'more than 19 in 20')
    """
    if chance < 0.001:
        return "less than 1 in 1,000"
    if chance <= 0.5:
        return chance_text(chance)
    if chance < 0.95:
        tenths = math.ceil(chance * 10 - 1e-9)
        return f"{tenths} in 10" if tenths < 10 else "19 in 20"
    return "more than 19 in 20"
