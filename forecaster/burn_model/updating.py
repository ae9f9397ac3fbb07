"""A new reading is an update, a corrected past one a replay, and both say the same.

A tank's state is kept at its last reading before the newest day, with a digest of everything that went into it.
The next time, when all that lies behind that reading is as it was, the filter goes on from there; a corrected
reading, a late ticket, a changed diary or newer weather of an old day changes the digest, and everything is
run anew.

Flow     stored, everything known -> same behind? -> **update or replay** -> posterior, stored
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from hashlib import blake2b

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.changes import Changes
from forecaster.burn_model.degrees import Degrees, degrees_of
from forecaster.burn_model.fit import fit_and_keep
from forecaster.burn_model.posterior import Posterior
from forecaster.burn_model.prior import PastLitres
from forecaster.burn_model.running import advance
from forecaster.burn_model.settings import Settings
from forecaster.burn_model.steps import Additions, Drivers, Observations
from forecaster.burn_model.stored import DIGEST_BYTES, UNKNOWN, Stored, settings_digest
from forecaster.dwelling import BurnPrior

Floats = npt.NDArray[np.float64]
Seconds = npt.NDArray[np.datetime64]


@dataclass(frozen=True, slots=True, eq=False)
class Updated:
    """A burn model brought up to date.

    Attributes
    ----------
    posterior
        At as-of. After an update its innovations and verdicts are those of the readings since the state was
        kept, after a replay those of all.
    stored
        To be kept; None while no reading is settled.
    replayed
        Whether everything was run anew.
    """

    posterior: Posterior
    stored: Stored | None
    replayed: bool


def update_burn_model(
    stored: Stored | None,
    drivers: Drivers,
    midnights: Seconds,
    observations: Observations,
    additions: Additions,
    prior: BurnPrior,
    *,
    as_of: np.datetime64,
    normal_temp_c: Floats,
    capacity_l: float,
    past_litres: PastLitres | None = None,
    settings: Settings | None = None,
    degrees: Degrees | None = None,
    changes: Changes | None = None,
    settled: np.datetime64 | None = None,
) -> Updated:
    """Bring a burn model up to date: an update where nothing behind has changed, a replay where something has.

    Parameters
    ----------
    stored : Stored or None
        What was kept the last time.
    drivers, midnights, observations, additions, prior, as_of, normal_temp_c, capacity_l, past_litres, degrees, changes
        All that is known, as for `fit_burn_model`.
    settings : Settings, optional
    settled : datetime64[s], optional
        The new state is kept at or before this instant. Without it, at the midnight that began as-of's day, since
        that day's weather is not over yet; give an earlier one where the last days' weather is still assumed.

    Notes
    -----
    Update and replay agree within 1e-9, relative: they take the same steps, and only sums of a day's shares
    are rounded otherwise.
    """
    s = settings or Settings()
    until = settled if settled is not None else _begin_of_day(as_of, midnights)

    def digest(at: np.datetime64) -> bytes:
        return digest_behind(
            at, drivers, midnights, observations, additions, prior, normal_temp_c=normal_temp_c,
            capacity_l=capacity_l, past_litres=past_litres, settings=s,
            changes=changes or Changes.none(),
        )  # fmt: skip

    if stored is not None and stored.known.at <= as_of and stored.behind == digest(stored.known.at):
        posterior, onward = go_on(
            stored, drivers, midnights, observations, additions, as_of=as_of, settings=s, degrees=degrees,
            changes=changes, settled=until,
        )  # fmt: skip
        if onward is not stored:
            onward = replace(onward, behind=digest(onward.known.at))
        return Updated(posterior, onward, replayed=False)
    posterior, known = fit_and_keep(
        drivers, midnights, observations, additions, prior, as_of=as_of, normal_temp_c=normal_temp_c,
        capacity_l=capacity_l, past_litres=past_litres, settings=s, degrees=degrees, changes=changes,
        settled=until,
    )  # fmt: skip
    kept = Stored(known, digest(known.at)) if known.begun else None
    return Updated(posterior, kept, replayed=True)


def go_on(
    stored: Stored,
    drivers: Drivers,
    midnights: Seconds,
    observations: Observations,
    additions: Additions,
    *,
    as_of: np.datetime64,
    settings: Settings | None = None,
    degrees: Degrees | None = None,
    changes: Changes | None = None,
    settled: np.datetime64 | None = None,
) -> tuple[Posterior, Stored]:
    """Go on from a stored state with what came after it alone: for a caller who knows that nothing behind changed.

    Parameters
    ----------
    stored : Stored
    drivers, midnights
        Days from that of ``stored.known.at`` on; earlier ones are not looked at.
    observations, additions
        Those up to ``stored.known.at`` are not looked at.
    as_of, settings, changes, settled
        As for `update_burn_model`; without ``settled`` no newer state is kept.
    degrees : Degrees, optional
        Of the drivers' days, begun from the same smoothed temperature.

    Returns
    -------
    Posterior, Stored
        The same state where none is newer. Of a newer one it is not known what lies behind it (`UNKNOWN`).
    """
    s, known = settings or Settings(), stored.known
    day = max(int(np.searchsorted(midnights, known.at, side="right")) - 1, 0)
    ahead = replace(drivers, **{f.name: getattr(drivers, f.name)[day:] for f in fields(drivers)})
    if degrees is None:
        degrees = degrees_of(
            ahead.temp_c, grid=s.grid, rounding_k=s.rounding_k, smooth_c=known.smooth_c, mild_c=known.mild_c
        )
    else:
        degrees = degrees.from_day(day)
    posterior, onward = advance(
        known, ahead, midnights[day:], observations.where(observations.at > known.at), additions,
        as_of=as_of, settings=s, degrees=degrees, changes=changes or Changes.none(), settled=settled,
    )  # fmt: skip
    return posterior, stored if onward is known else Stored(onward, UNKNOWN)


def must_replay(stored: Stored, *, changed_from: np.datetime64) -> bool:
    """Tell whether a change of the inputs, from an instant on, reaches behind a stored state.

    Parameters
    ----------
    stored : Stored
    changed_from : datetime64[s]
        Of readings and tickets their own time, of weather and diary the beginning of the first changed day.
    """
    return bool(changed_from <= stored.known.at)


def digest_behind(
    at: np.datetime64,
    drivers: Drivers,
    midnights: Seconds,
    observations: Observations,
    additions: Additions,
    prior: BurnPrior,
    *,
    normal_temp_c: Floats,
    capacity_l: float,
    past_litres: PastLitres | None,
    settings: Settings,
    changes: Changes,
) -> bytes:
    """Digest of everything that a state at an instant was made from."""
    days = int(np.searchsorted(midnights, at, side="left"))  # a day that begins at it lies ahead
    poured, come = additions.at <= at, changes.at <= at
    behind: list[object] = [
        settings_digest(settings), midnights[: days + 1], capacity_l, normal_temp_c,
        *_values(replace(drivers, **{f.name: getattr(drivers, f.name)[:days] for f in fields(drivers)})),
        *_values(observations.where(observations.at <= at)),
        *(getattr(additions, f.name)[poured] for f in fields(additions)),
        *_values(prior), changes.at[come], changes.spread[come],
    ]  # fmt: skip
    if past_litres is not None:
        behind += [*_values(past_litres.drivers), past_litres.litres, past_litres.sd_l]
    found = blake2b(digest_size=DIGEST_BYTES)
    for value in behind:
        data = value.tobytes() if isinstance(value, np.ndarray) else repr(value).encode()
        found.update(len(data).to_bytes(8, "little") + data)
    return found.digest()


def _values(of: Drivers | Observations | BurnPrior) -> Iterator[object]:
    return (getattr(of, f.name) for f in fields(of))


def _begin_of_day(as_of: np.datetime64, midnights: Seconds) -> np.datetime64:
    """Midnight that began the day of as-of."""
    return np.datetime64(midnights[max(int(np.searchsorted(midnights, as_of, side="right")) - 1, 0)], "s")
