"""What a terminal is told while a command works."""

import io
import sys

import pytest

from wellrecords import terminal


class Screen(io.StringIO):
    """Standard error as a terminal."""

    def isatty(self):
        return True


@pytest.fixture
def clock(monkeypatch):
    """Move the clock by hand."""
    now = [100.0]
    monkeypatch.setattr(terminal.time, "monotonic", lambda: now[0])
    return now


def test_a_terminal_is_told_each_stage_that_took_its_time(monkeypatch, clock):
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    with terminal.progress() as tell:
        for done in range(3):
            tell("reading [bold]log\x1b[2J.csv", done, 3)
            clock[0] += 2.0
        tell("reading", 3, 3)
        tell("writing the dataset", 0, 1)
        clock[0] += 1.2
        tell("writing the dataset", 1, 1)
    lines = [line for line in screen.getvalue().replace("\r", "\n").splitlines() if line.endswith(" s")]
    told = [line.split("\x1b[2K")[-1] for line in lines]
    assert told == ["reading [bold]log\\x1b[2J.csv: 6 s", "writing the dataset: 1 s"]
    assert "\x1b[2J" not in screen.getvalue()


def test_where_standard_error_is_piped_nothing_is_told(monkeypatch):
    piped = io.StringIO()
    monkeypatch.setattr(sys, "stderr", piped)
    with terminal.progress() as tell:
        tell("reading", 0, 1)
    assert piped.getvalue() == ""


@pytest.mark.parametrize(("feet", "said"), [(33.0, "35 ft"), (-12.0, "flows"), (-1.0, "ground level"), (0.0, "0 ft")])
def test_water_that_stands_at_the_ground_does_not_flow(feet, said):
    """The words of the page, which says how far above ground; there is no room for that in a table."""
    assert terminal._level(feet) == said
