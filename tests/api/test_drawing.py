"""Pictures are drawn in a process of its own, which may end at any time."""

import subprocess
import sys
import threading
from collections.abc import Iterator

import pytest

from api.drawing import DrawingError, DrawingProcess

CHART = '{"mark": "point", "data": {"values": [{"a": 1}]}, "encoding": {"x": {"field": "a"}}}'


@pytest.fixture
def drawing() -> Iterator[DrawingProcess]:
    """A drawing process of this test."""
    made = DrawingProcess()
    yield made
    made.end()


def test_what_cannot_be_drawn_costs_no_process(drawing: DrawingProcess) -> None:
    """A description that is none is refused, and the same process draws the next, as SVG and PNG."""
    svg = drawing.svg(CHART)
    process = drawing._process
    with pytest.raises(DrawingError):
        drawing.svg('{"mark": 5}')
    assert drawing.png(svg).startswith(b"\x89PNG")
    assert drawing._process is process


def test_a_killed_process_is_started_again(drawing: DrawingProcess) -> None:
    """A picture is drawn although the process ended since the last, and it is the same picture."""
    svg = drawing.svg(CHART)
    assert drawing._process is not None
    drawing._process.kill()
    drawing._process.wait()
    assert drawing.svg(CHART) == svg


def test_several_threads_get_each_its_own_picture(drawing: DrawingProcess) -> None:
    """Four threads that draw at once do not get each other's pictures."""
    found: dict[int, str] = {}

    def draw(number: int) -> None:
        found[number] = drawing.svg(CHART.replace('"a"', f'"only{number}"'))

    threads = [threading.Thread(target=draw, args=(i,)) for i in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(f"only{i}" in found[i] for i in range(4))


def test_a_program_that_draws_nothing_is_given_up() -> None:
    """Where no process can draw, that is said after two tries."""
    with pytest.raises(DrawingError):
        DrawingProcess((sys.executable, "-c", "pass")).svg(CHART)


def test_pages_leave_the_engine_of_pictures_outside() -> None:
    """A process that has drawn a picture for a page has not loaded what draws it."""
    program = (
        "import sys; from api.pages.charts.svg import draw_svg; import json\n"
        f"assert draw_svg(json.loads({CHART!r})).startswith('<svg')\n"
        "assert 'vl_convert' not in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", program], check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
