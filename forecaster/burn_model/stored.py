"""What is kept of a tank's burn model between two readings, and its bytes.

Flow     known at a settled reading -> **stored** -> bytes -> **stored** -> gone on from
Format   header: magic, version, digests of settings and of what lies behind, instants, counts, CRC-32 of the rest;
         then every number as a little-endian float64, column by column so that like stands beside like: of each
         the six low bytes as they are, the two high ones (sign, exponent) apart and deflated. Nothing is rounded.
"""

import struct
import zlib
from dataclasses import dataclass
from hashlib import blake2b

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.known import Known
from forecaster.burn_model.lanes import spread_out
from forecaster.burn_model.settings import Settings
from forecaster.errors import Problem, StoredStateError

Floats = npt.NDArray[np.float64]

MOST_BYTES = 32_000
"""Of a tank with the usual grid of 144 points. [bytes]"""
DIGEST_BYTES = 16
UNKNOWN = bytes(DIGEST_BYTES)
"""In place of a digest: not known what lies behind."""

_MAGIC, _VERSION = b"DCBM", 2
_HEADER = struct.Struct("<4sHH16s16sqqIII")
_NUMBERS, _SINGLE = 28, 6
"""Float numbers of a point (a 29th counts refused readings), and of the tank."""
_LOW = 6
"""Bytes of a float64 that look like noise, and are left as they are."""


@dataclass(frozen=True, slots=True, eq=False)
class Stored:
    """A tank's state, and of what it was made.

    Attributes
    ----------
    known
        The filter's state just after a reading.
    behind
        Digest of everything that went into it; see `forecaster.burn_model.updating`. `UNKNOWN`: cannot be told.
    """

    known: Known
    behind: bytes


def to_bytes(stored: Stored, *, settings: Settings | None = None) -> bytes:
    """Write a state down.

    Parameters
    ----------
    stored : Stored
    settings : Settings, optional
        With which it was made.

    Returns
    -------
    bytes
        At most 32 kB for the usual grid.
    """
    s, k = settings or Settings(), stored.known
    if k.first_pass is None or k.observed_from is None:
        raise StoredStateError(_no("not_begun", "keep a state only once a reading was taken"))
    floats = np.concatenate(
        [
            k.numbers[:, :_NUMBERS].T.ravel(), k.first_pass[:_NUMBERS],
            [k.run_burn_l, k.mild_c, k.kappa, k.omega, k.last_l, k.last_step_l], k.smooth_c, k.intensity.T.ravel(),
        ]
    ).astype("<f8")  # fmt: skip
    refused = np.append(k.numbers[:, _NUMBERS], k.first_pass[_NUMBERS]).astype(np.uint8)
    planes = floats.view(np.uint8).reshape(-1, 8)
    high = zlib.compress(np.ascontiguousarray(planes[:, _LOW:].T).tobytes() + refused.tobytes(), 6)
    body = np.ascontiguousarray(planes[:, :_LOW]).tobytes() + high
    header = _HEADER.pack(
        _MAGIC, _VERSION, len(k.numbers), settings_digest(s), stored.behind, _seconds(k.at),
        _seconds(k.observed_from), len(floats), len(body), zlib.crc32(body),
    )  # fmt: skip
    return header + body


def from_bytes(data: bytes, *, settings: Settings | None = None) -> Stored:
    """Read a state that was written down.

    Parameters
    ----------
    data : bytes
    settings : Settings, optional
        With which it is to be gone on from.

    Raises
    ------
    StoredStateError
        The bytes are no such state or not whole, of another version, or made with other settings or another
        grid. Nothing is lost: the model is fitted anew from the readings.
    """
    s = settings or Settings()
    if len(data) < _HEADER.size or data[:4] != _MAGIC:
        raise StoredStateError(_no("not_a_state", "fit the burn model anew: these bytes are no kept state"))
    _, version, points, made_with, behind, at, observed_from, count, length, crc = _HEADER.unpack_from(data)
    if version != _VERSION:
        raise StoredStateError(_no("other_version", "fit the burn model anew", str(version)))
    if made_with != settings_digest(s):
        raise StoredStateError(_no("other_settings", "fit the burn model anew: its settings have changed"))
    priors, inertias = len(s.grid.base_c) * len(s.grid.season_c), len(s.grid.inertia_d)
    expected = _NUMBERS * (points + 1) + _SINGLE + inertias + 4 * priors
    if points != len(spread_out(s.grid).base_c) or count != expected:
        raise StoredStateError(_no("other_grid", "fit the burn model anew: its grid has changed"))
    body = data[_HEADER.size :]
    if len(body) != length or zlib.crc32(body) != crc:
        raise StoredStateError(_no("damaged", "fit the burn model anew: the kept state is damaged"))
    planes = np.empty((count, 8), np.uint8)
    planes[:, :_LOW] = np.frombuffer(body, np.uint8, _LOW * count).reshape(count, _LOW)
    high = np.frombuffer(zlib.decompress(body[_LOW * count :]), np.uint8)
    planes[:, _LOW:] = high[: (8 - _LOW) * count].reshape(8 - _LOW, count).T
    floats = planes.view("<f8").ravel().astype(np.float64)
    refused = high[(8 - _LOW) * count :].astype(np.float64)
    by_point, first_pass, single, smooth_c, intensity = np.split(
        floats, np.cumsum([_NUMBERS * points, _NUMBERS, _SINGLE, inertias])
    )
    run_burn_l, mild_c, kappa, omega, last_l, last_step_l = single.tolist()
    known = Known(
        at=_instant(at), numbers=np.column_stack([by_point.reshape(_NUMBERS, points).T, refused[:-1]]),
        first_pass=np.append(first_pass, refused[-1]), run_burn_l=run_burn_l, smooth_c=smooth_c, mild_c=mild_c,
        intensity=intensity.reshape(4, priors).T.copy(), kappa=kappa, omega=omega,
        observed_from=_instant(observed_from), last_l=last_l, last_step_l=last_step_l,
    )  # fmt: skip
    return Stored(known, behind)


def settings_digest(settings: Settings) -> bytes:
    """Digest of all settings, the grid among them."""
    return blake2b(repr(settings).encode(), digest_size=DIGEST_BYTES).digest()


def _no(code: str, mend: str, seen: str = "") -> Problem:
    return Problem(code, "state", mend, seen)


def _seconds(at: np.datetime64) -> int:
    return int(at.astype("datetime64[s]").astype(np.int64))


def _instant(seconds: int) -> np.datetime64:
    return np.datetime64(seconds, "s")
