"""Seeded faults of the doors: acknowledgements, keys of readings, mappings, levels told, weather."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

INBOX = "tests/api/mqtt/test_inbox.py"
TOGETHER = "tests/api/test_doors_together.py"
SENML = "tests/api/schemas/test_senml.py"
TOLD = "tests/api/routes/test_told.py"
FILES = "tests/api/pages/test_tell.py"
MOVED = "tests/api/usecases/test_moved_sensor.py"
WEATHER = "tests/api/usecases/test_fetch_weather.py"
SERVICE = "tests/api/sources/test_open_meteo.py"
RESENDING = "tests/api/routes/test_resending.py"


def _acknowledge_what_was_not_stored() -> None:
    """A batch that the database did not take is done with all the same."""
    import api.mqtt
    from api.mqtt import inbox
    from api.store import StoreUnavailableError

    usual = inbox.take_in

    def take_in(*given: Any) -> Any:
        try:
            return usual(*given)
        except StoreUnavailableError:
            return inbox.Taken()

    inbox.take_in = api.mqtt.take_in = take_in


def _let_one_stop_all() -> None:
    """A message that breaks the program breaks its batch, and the next."""
    from api.mqtt import inbox

    def fail(*given: Any) -> Any:
        raise RuntimeError

    inbox._store_alone = fail


def _take_retained_as_new() -> None:
    """A retained message without a time is a reading of now, at each start."""
    from dataclasses import replace

    from api.mqtt import inbox

    usual = inbox.apply_mapping
    inbox.apply_mapping = lambda *given, **more: replace(usual(*given, **more), has_time=True)


def _let_the_last_win() -> None:
    """Of two values under one key the later is believed to be the one that is kept."""
    from api.store import readings

    usual = readings._save_chunk

    def save(session: Any, chunk: Any, *more: Any) -> Any:
        return [
            readings.Saved(readings.Outcome.KNOWN, one.kept) if one.outcome == "conflict" else one
            for one in usual(session, chunk, *more)
        ]

    readings._save_chunk = save


def _take_ratio_for_percent() -> None:
    """The registered sign % is taken for percent, which it is not."""
    from api.schemas.senml import levels

    fraction = MappingProxyType({"/": 1.0, "%": 0.01, "/100": 0.01})
    levels.UNITS = MappingProxyType({**levels.UNITS, levels.Quantity.FRACTION: fraction})


def _pass_over_what_must_be_understood() -> None:
    """An unknown field is passed over whatever its name."""
    from api.schemas.senml import resolve

    usual = resolve._faults_of
    resolve._faults_of = lambda *given: [f for f in usual(*given) if f.code != "must_understand"]


def _ask_nothing_of_room() -> None:
    """Any ticket fits."""
    from api.usecases.told import tickets

    tickets._require_room = lambda *given: None


def _trust_every_dip_alike() -> None:
    """A gauge is known as finely as a sensor."""
    from api.usecases.told import levels

    usual = levels.Measurement
    levels.Measurement = lambda *given, **more: usual(*given)


def _store_what_is_shown() -> None:
    """A file is stored when it is looked at."""
    from api.pages import readings_file

    usual = readings_file._page

    def page(visit: Any, tank: Any, **more: Any) -> Any:
        if more.get("parsed") is not None:
            readings_file._store(visit, tank, more["data"], more["layout"])
        return usual(visit, tank, **more)

    readings_file._page = page


def _take_a_move_for_oil() -> None:
    """Readings from before a move are taken as they are."""
    from api.usecases import moved_sensor

    moved_sensor._moved = lambda readings, then, now: readings


def _tell_the_whole_place() -> None:
    """Coordinates leave as they were given."""
    from api.usecases import fetch_weather

    fetch_weather.round = lambda value, digits: value  # type: ignore[attr-defined]


def _ask_without_pause() -> None:
    """A service in trouble is asked again at once."""
    from datetime import timedelta

    from api.usecases import fetch_weather

    fetch_weather.LONGEST_WAIT = timedelta()


def _believe_any_weather() -> None:
    """The units of an answer are not looked at."""
    from api.sources.open_meteo import answer

    answer.UNITS = dict.fromkeys(answer.UNITS, None)  # type: ignore[assignment]


def _let_a_key_speak_for_all() -> None:
    """A key of one sensor brings whatever it is asked for."""
    from api.access import Access

    Access.sensor_for = lambda self, asked: asked  # type: ignore[method-assign]


PLANTS: Mapping[str, tuple[str, Callable[[], None], tuple[str, ...], str]] = MappingProxyType(
    {
        "acknowledged without a commit": (
            "P5",
            _acknowledge_what_was_not_stored,
            (INBOX, TOGETHER),
            "away or step",
        ),
        "one message stops all": ("P5", _let_one_stop_all, (INBOX,), "breaks"),
        "retained taken as new": ("P5", _take_retained_as_new, (INBOX,), "retained"),
        "last value wins": ("P3", _let_the_last_win, (INBOX, TOLD), "another"),
        "ratio taken for percent": ("P35", _take_ratio_for_percent, (SENML,), "last_word"),
        "must-understand passed over": ("P35", _pass_over_what_must_be_understood, (SENML,), "forbids"),
        "room not asked about": ("P35", _ask_nothing_of_room, (TOLD,), "room"),
        "gauge trusted like a sensor": ("P28", _trust_every_dip_alike, (TOLD,), "spread"),
        "file stored when looked at": ("P3", _store_what_is_shown, (FILES,), "layout"),
        "move taken for oil": ("P27", _take_a_move_for_oil, (MOVED,), "move"),
        "whole place told": ("P42", _tell_the_whole_place, (WEATHER,), "homes or named"),
        "weather asked for without pause": ("P21", _ask_without_pause, (WEATHER,), "rarely"),
        "units of weather not looked at": ("P32", _believe_any_weather, (SERVICE,), "documented or cannot"),
        "key speaks for all sensors": ("P33", _let_a_key_speak_for_all, (RESENDING,), "alone"),
    }
)
"""By name: promise, plant, the files that must turn red, and which of their tests."""
