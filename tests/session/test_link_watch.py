"""What becomes of the serial links is told as it happens, and summed up."""

import pytest

from rover.link.link import Link
from rover.link.port import LinePort
from rover.session.link_watch import LinkWatch


class Line(LinePort):
    """A port that is lost and opened by the test."""

    def become(self, **counts: int) -> None:
        self._tally = self._tally._replace(**counts)

    def close(self) -> None:
        pass


@pytest.fixture
def line() -> Line:
    return Line("main")


def test_a_line_that_is_lost_and_open_again_is_told_once(line: Line) -> None:
    watch = LinkWatch({"main": Link(line, 115200)})
    assert watch.news() == []
    line.become(lost=1)
    assert watch.news() == ["main: the line was lost (1 times so far)"]
    line.become(opened=1)
    assert watch.news() == ["main: the line is open again"]
    assert watch.news() == []
    line.become(lost=2, opened=2)
    assert watch.news() == ["main: the line was lost (2 times so far)", "main: the line is open again"]


def test_all_is_summed_up_as_plain_values(line: Line) -> None:
    line.become(lines=4, lost=1)
    (figures,) = LinkWatch({"main": Link(line, 115200)}).figures().values()
    assert (figures["lines"], figures["lost"], figures["damage"]) == (4, 1, {})
