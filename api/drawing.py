"""Charts drawn in a process of their own, which ends when nothing is to be drawn for a while.

What draws them brings a browser's engine along: a hundred megabytes that a small computer needs for
other things most of the day. The process reads requests from its input and answers on its output; it
ends with its input, so it never outlives who started it.

Flow     description -> **request, drawing process, answer** -> SVG, PNG
Rule     request: a line ``{"job", "text"}``; answer: a line with the length, then so many bytes;
         the length is -1 for what cannot be drawn
"""

import atexit
import json
import os
import select
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from importlib import resources
from typing import IO

IDLE_S = 120.0
"""With nothing to draw for so long the process ends; the next picture starts another."""
LONGEST_S = 30.0
"""A drawing that takes longer is given up, and its process ended."""
SCALE = 2
"""A PNG has so many points for one of the picture's."""


class DrawingError(Exception):
    """A picture that could not be drawn."""


class DrawingProcess:
    """Draws in one process, started when it is needed.

    Attributes
    ----------
    command
        What is started.
    """

    def __init__(self, command: tuple[str, ...] = (sys.executable, "-m", "api.drawing")) -> None:
        self.command = command
        self._lock = threading.Lock()  # several drawings at once are no faster
        self._process: subprocess.Popen[bytes] | None = None

    def svg(self, chart: str) -> str:
        """Draw a description in Vega-Lite as SVG."""
        return self._ask("svg", chart).decode("utf-8")

    def png(self, svg: str) -> bytes:
        """Turn SVG into PNG."""
        return self._ask("png", svg)

    def end(self) -> None:
        """End the process, if there is one."""
        with self._lock:
            self._end()

    def _ask(self, job: str, text: str) -> bytes:
        request = json.dumps({"job": job, "text": text}).encode() + b"\n"
        with self._lock:
            for _ in range(2):  # it may have ended between two pictures
                try:
                    return self._exchange(request)
                except (OSError, EOFError):
                    self._end()
        raise DrawingError(job)

    def _exchange(self, request: bytes) -> bytes:
        process = self._running()
        assert process.stdin is not None
        assert process.stdout is not None
        patience = threading.Timer(LONGEST_S, process.kill)
        patience.start()
        try:
            process.stdin.write(request)
            process.stdin.flush()
            head = process.stdout.readline()
            if not head:
                raise EOFError
            if (length := int(head)) < 0:
                raise DrawingError
            answer = process.stdout.read(length)
        finally:
            patience.cancel()
        if len(answer) < length:
            raise EOFError
        return answer

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self._end()
            self._process = subprocess.Popen(  # noqa: S603 - our own module, by this Python
                self.command, stdin=subprocess.PIPE, stdout=subprocess.PIPE
            )
            atexit.register(self.end)
        return self._process

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        atexit.unregister(self.end)
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:  # what was still to be written
                    continue


# ---- inside the process


def answer_all(requests: IO[bytes], answers: IO[bytes], jobs: Mapping[str, Callable[[str], bytes]]) -> None:
    r"""Answer requests until there are no more.

    Examples
    --------
    >>> import io
    >>> out = io.BytesIO()
    >>> answer_all(io.BytesIO(b'{"job": "up", "text": "a"}'), out, {"up": lambda t: t.upper().encode()})
    >>> out.getvalue()
    b'1\nA'
    """
    while line := requests.readline():
        asked = json.loads(line)
        try:
            done = jobs[asked["job"]](asked["text"])
        except ValueError:  # what the library says of a description it cannot draw
            answers.write(b"-1\n")
        else:
            answers.write(b"%d\n" % len(done) + done)
        answers.flush()


def _jobs() -> Mapping[str, Callable[[str], bytes]]:
    import vl_convert

    with resources.as_file(resources.files("api") / "pages" / "static" / "fonts") as folder:
        vl_convert.register_font_directory(str(folder))
    return {
        "svg": lambda chart: str(vl_convert.vegalite_to_svg(chart)).encode(),
        "png": lambda svg: bytes(vl_convert.svg_to_png(svg, scale=SCALE)),
    }


class _UntilIdle:
    """The input, which ends when nothing comes for a while."""

    def __init__(self, source: IO[bytes], idle_s: float) -> None:
        self._source, self._idle_s = source, idle_s

    def readline(self) -> bytes:
        waiting, _, _ = select.select([self._source], [], [], self._idle_s)
        return self._source.readline() if waiting else b""


def main() -> None:
    """Draw what is asked for; whatever the library prints does not get among the answers."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    requests = os.fdopen(0, "rb", buffering=0)
    answer_all(_UntilIdle(requests, IDLE_S), answers, _jobs())  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
