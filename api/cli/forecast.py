"""One forecast from files, without a database.

Flow     inputs -> forecaster.pipeline -> **words or JSON**
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Timer
from typing import Any

import numpy as np

from api.cli.gather import Gathered
from api.cli.telling import tell_forecast, tell_grounds
from api.cli.trouble import say
from api.folders import cache_folder
from api.sources.sun_tables import SunTables
from forecaster.document import public_document
from forecaster.forecast import SEED
from forecaster.pipeline import Working, work_out
from forecaster.solar import keep_tables_in
from forecaster.wording import answer

PATIENCE_S = 3.0
"""After so long without an answer a word is said about why. [s]"""
PATIENCE = "Working; the first forecast on a machine takes some seconds more, once."


def work_out_forecast(gathered: Gathered) -> Working:
    """Make the forecast, with the draws that every door uses: same inputs, same answer."""
    keep_tables_in(SunTables(cache_folder()))
    with patience():
        return work_out(gathered.inputs, rng=np.random.default_rng(SEED))


def forecast_text(working: Working, gathered: Gathered) -> str:
    """Write a forecast for people."""
    words = answer(working.forecast, zone=gathered.zone, settings=gathered.inputs.settings)
    return "\n".join(
        (
            *tell_forecast(words, working.forecast, zone=gathered.zone),
            "",
            *tell_grounds(working, gathered.inputs, gathered.notes),
        )
    )


def forecast_object(working: Working, gathered: Gathered) -> str:
    """Write a forecast for programs: the form that every door gives, and the answer in words.

    Where numbers are withheld, ``litres``, ``run_dry`` and ``order`` are null.
    """
    words = answer(working.forecast, zone=gathered.zone, settings=gathered.inputs.settings)
    whole: dict[str, Any] = {**public_document(working.forecast), "answer": words.text}
    return json.dumps(whole, allow_nan=False, ensure_ascii=False)


@contextmanager
def patience() -> Iterator[None]:
    """Say a word where the work takes long: the burn model is compiled once on a machine."""
    timer = Timer(PATIENCE_S, say, ([PATIENCE],))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
