"""What has been learnt, as data with its provenance.

Flow     learning -> rows of a packaged table -> **calibration** -> mapping
"""

from dataclasses import dataclass, fields, replace
from datetime import date
from functools import cache

import numpy as np
import numpy.typing as npt

from forecaster.tables import read_table

Floats = npt.NDArray[np.float64]

CHANCES = (0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99)
"""Chances at which the map is told; between them it runs straight in normal scores."""
LEADS_D = (7, 14, 30, 60, 90)
"""Leads at which outcomes are looked at. [d]"""
MONTHS = 12


@dataclass(frozen=True, slots=True)
class Learnt:
    """From what a calibration was learnt.

    Attributes
    ----------
    world, seed
        Which simulated houses, and from which seed they were drawn.
    tanks, cases
        How many of them, and how many forecasts of any lead.
    on
        The day of learning.
    settings
        Digest of the burn model's settings; see `forecaster.burn_model.stored.settings_digest`.
    revision
        Revision of the code with which it was learnt.
    """

    world: str
    seed: int
    tanks: int
    cases: int
    on: date
    settings: str
    revision: str


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """Normal scores to be told in place of those at `CHANCES`.

    Attributes
    ----------
    lead_days
        Rising, shape (lead,). [d]
    score
        By lead, by the month in whose first days the span's middle lies, and by chance: rising along the
        last axis, shape (lead, 12, chance). [-]
    learnt
        From what.
    """

    lead_days: npt.NDArray[np.int64]
    score: Floats
    learnt: Learnt

    def at(self, lead: int, middle: np.datetime64) -> Floats:
        """Scores of a lead for a span with that middle: shape (chance,); between months they run straight."""
        by_month = self.score[lead]
        day_of_year = int((middle - middle.astype("datetime64[Y]")).astype("timedelta64[D]").astype(np.int64))
        place = day_of_year / 366.0 * MONTHS
        month, part = int(place), place - int(place)
        told: Floats = (1.0 - part) * by_month[month] + part * by_month[(month + 1) % MONTHS]
        return told

    def in_the_south(self) -> "Calibration":
        """The same for places where the seasons are half a year apart."""
        return replace(self, score=np.roll(self.score, MONTHS // 2, axis=1))


@cache
def packaged_calibration() -> Calibration:
    """Read the calibration that comes with the engine."""
    rows = read_table("calibration")
    leads = sorted({int(row["lead_days"]) for row in rows})
    score = np.empty((len(leads), MONTHS, len(CHANCES)))
    for row in rows:
        score[leads.index(int(row["lead_days"])), int(row["month"]) - 1] = [
            float(row[f"score_{chance:g}"]) for chance in CHANCES
        ]
    first = rows[0]
    learnt = Learnt(
        first["world"], int(first["seed"]), int(first["tanks"]), int(first["cases"]),
        date.fromisoformat(first["on"]), first["settings"], first["revision"],
    )  # fmt: skip
    return Calibration(np.array(leads, np.int64), score, learnt)


def to_rows(calibration: Calibration) -> tuple[dict[str, str], ...]:
    """Write a calibration as rows of its table, each with its provenance."""
    learnt = {f.name: str(getattr(calibration.learnt, f.name)) for f in fields(Learnt)}
    told = calibration.learnt
    source = (
        f"outcomes of {told.tanks} simulated houses ({told.world} world, seed {told.seed}), learnt {told.on}"
    )
    return tuple(
        {
            "lead_days": str(lead),
            "month": str(month + 1),
            **{
                f"score_{chance:g}": f"{score:.3f}"
                for chance, score in zip(CHANCES, calibration.score[i, month], strict=True)
            },
            **learnt,
            "source": source,
        }
        for i, lead in enumerate(calibration.lead_days.tolist())
        for month in range(MONTHS)
    )
