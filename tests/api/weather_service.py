"""A stand-in for the weather service: a real HTTP server that replays its documented answers."""

import json
import math
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

Answer = tuple[int, dict[str, str], bytes]
"""Status, headers, body."""


def hours_of(question: dict[str, str], *, today: datetime) -> dict[str, Any]:
    """Make the documented answer: a plain winter, colder by night, sun at noon."""
    first = today.replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(
        days=int(question["past_days"])
    )
    count = 24 * (int(question["past_days"]) + int(question["forecast_days"]))
    times = [int((first + timedelta(hours=h)).timestamp()) for h in range(count)]
    return {
        "latitude": float(question["latitude"]),
        "longitude": float(question["longitude"]),
        "generationtime_ms": 0.05,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": 38.0,
        "hourly_units": {"time": "unixtime", "temperature_2m": "°C", "shortwave_radiation": "W/m²"},
        "hourly": {
            "time": times,
            "temperature_2m": [
                round(4.0 + 3.0 * math.sin((h % 24 - 9) * math.pi / 12) + 0.3 * (h // 24 % 2), 1)
                for h in range(count)
            ],
            "shortwave_radiation": [120.0 if 10 < h % 24 <= 14 else 0.0 for h in range(count)],
        },
    }


@dataclass
class StandIn:
    """What the server answers with, and what it was asked."""

    today: datetime
    url: str = ""
    answers: list[Answer | Callable[[dict[str, str]], Answer]] = field(default_factory=list)
    asked: list[dict[str, str]] = field(default_factory=list)
    drip_s: float = 0.0

    def good(self, question: dict[str, str]) -> Answer:
        return (
            200,
            {"Content-Type": "application/json"},
            json.dumps(hours_of(question, today=self.today)).encode(),
        )

    def next_answer(self, question: dict[str, str]) -> Answer:
        self.asked.append(question)
        given = self.answers.pop(0) if self.answers else self.good
        return given(question) if callable(given) else given


def changed(
    stand_in: StandIn, change: Callable[[dict[str, Any]], object]
) -> Callable[[dict[str, str]], Answer]:
    """Make an answer that differs from the documented one."""

    def answer(question: dict[str, str]) -> Answer:
        body = hours_of(question, today=stand_in.today)
        change(body)
        return 200, {}, json.dumps(body).encode()

    return answer


@contextmanager
def weather_service(today: datetime) -> Iterator[StandIn]:
    """Serve a stand-in on a free port of this machine."""
    stand_in = StandIn(today)

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked = {k: v[0] for k, v in parse_qs(urlsplit(self.path).query).items()}
            status, headers, body = stand_in.next_answer(asked)
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            step = 1_000 if stand_in.drip_s else len(body) or 1
            try:
                for start in range(0, len(body), step):
                    self.wfile.write(body[start : start + step])
                    self.wfile.flush()
                    time.sleep(stand_in.drip_s)
            except OSError:
                pass

        def log_message(self, *args: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    stand_in.url = f"http://127.0.0.1:{server.server_port}/v1/forecast"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield stand_in
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)


NOON = datetime(2026, 1, 10, 12, tzinfo=UTC)
