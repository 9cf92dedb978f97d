"""What the search does on floors where walls hide ground: a room nobody can get into, one round a corner."""

import pytest

from rover.events import Note

CLOSED = {"a": [["2.3 m", "0 m"], ["2.3 m", "90 cm"]], "b": [["2.3 m", "90 cm"], ["3.2 m", "90 cm"]]}


@pytest.fixture
def in_walls(small_bay, collect):
    """Rehearse with walls: ``in_walls(CLOSED, [JAR], expect=1)``."""

    def run(walls, objects, **keys):
        return collect(objects, keys={"field": {**small_bay.BAY, "walls": walls}, "expect": None, **keys})

    return run


def test_a_closed_room_is_no_clean_end_though_nothing_else_is_left(in_walls, small_bay):
    done = in_walls(CLOSED, [small_bay.JAR])
    assert done.ended == ("failed", "all_in_reach", 1)
    assert (done.result.left, done.result.is_clean) == (0, False)
    assert done.result.unseen == pytest.approx(0.9 * 0.9 / (3.2 * 2.4 - 0.8 * 0.8), abs=0.04)
    assert any("from nowhere in reach" in note.text for note in done.run.events_of(Note) if note.kind == "search")


def test_it_is_where_the_errand_says_that_there_is_no_more(in_walls, small_bay):
    done = in_walls(CLOSED, [small_bay.JAR], expect=1)
    assert done.ended == ("done", "all_in", 1)
    assert done.result.is_clean


def test_what_stands_round_a_corner_is_looked_for_there(in_walls):
    partition, jar = {"partition": [["2.3 m", "0 m"], ["2.3 m", "1 m"]]}, {"kind": "teal", "x": "2.7 m", "y": "50 cm"}
    done = in_walls(partition, [jar], settings={"longest": "60 s"})
    assert "seek/found" in done.states
    assert done.result.left == 1
