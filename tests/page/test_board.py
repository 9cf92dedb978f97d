"""What the page's process keeps for whoever comes, and what each viewer is told of it."""

import json
from typing import Any

from rover.page.board import MOST_EVENTS, MOST_POINTS, Board, Seen

SHEET = {
    "kind": "sheet",
    "acts": ["hold"],
    "kinds": '{"amber": {"width": 0.05}}',
    "states": ["seek", "seek/look"],
    "title": "A run",
}


def told(board: Board, seen: Seen) -> list[Any]:
    return [one if isinstance(one, bytes) else json.loads(one) for one in board.news(seen)]


def message(**facts: object) -> bytes:
    return json.dumps(facts).encode()


def event(number: int) -> bytes:
    return message(kind="event", t=number, what="seen", text=str(number))


def test_a_viewer_is_told_all_there_is_once() -> None:
    board, seen = Board(), Seen()
    board.take(json.dumps(SHEET).encode())
    board.take(event(1))
    board.take(message(kind="now", t=1.0, state="seek/look", pose=[1.0, 2.0, 0.0]))
    board.take(b"\xff\xd8 a picture")
    news = told(board, seen)
    assert [one["kind"] for one in news[:3]] == ["sheet", "event", "now"]
    assert news[0]["trail"] == [[1.0, 2.0, "seek"]]
    assert news[3] == b"\xff\xd8 a picture"
    assert told(board, seen) == []


def test_of_what_is_fleeting_only_the_newest_is_told_and_every_event() -> None:
    board, seen = Board(), Seen()
    for number in range(5):
        board.take(message(kind="now", t=number))
        board.take(event(number))
    news = told(board, seen)
    assert [one["t"] for one in news if one["kind"] == "event"] == [0, 1, 2, 3, 4]
    assert [one["t"] for one in news if one["kind"] == "now"] == [4]


def test_who_comes_late_sees_the_way_so_far_and_the_latest_events() -> None:
    board = Board()
    board.take(json.dumps(SHEET).encode())
    for number in range(MOST_EVENTS + 50):
        board.take(event(number))
    for number in range(3 * MOST_POINTS):
        board.take(message(kind="now", t=number, state="seek", pose=[0.1 * number, 0.0, 0.0]))
    news = told(board, Seen())
    events = [one["t"] for one in news if one["kind"] == "event"]
    assert events == list(range(50, MOST_EVENTS + 50))
    trail = news[0]["trail"]
    assert MOST_POINTS / 2 <= len(trail) <= MOST_POINTS
    assert trail[0][0] == 0.0
    assert trail[-1][0] > 0.1 * (3 * MOST_POINTS - 10)


def test_a_pose_that_is_not_known_leaves_the_trail_as_it_is() -> None:
    board = Board()
    board.take(json.dumps(SHEET).encode())
    board.take(message(kind="now", t=0.0, state="", pose=[None, None, None]))
    assert told(board, Seen())[0]["trail"] == []


def test_the_plan_is_drawn_where_there_is_a_field_and_a_name_in_it_is_escaped() -> None:
    board = Board()
    field = {"boundary": [[0, 0], [4, 0], [4, 3]], "walls": {"<script>": [[0, 0], [4, 0]]}}
    board.take(json.dumps(SHEET | {"field": json.dumps(field)}).encode())
    plan = told(board, Seen())[0]["plan"]
    assert plan["wide"]["svg"].startswith("<svg")
    assert "<script>" not in plan["wide"]["svg"]
    assert "&lt;script&gt;" in plan["wide"]["svg"]
    assert plan["letters"] == {"amber": "A"}
    assert list(plan["strokes"]) == ["seek"]


def test_the_end_is_told_once_and_by_the_one_who_says_it_first() -> None:
    board, seen = Board(), Seen()
    board.take(message(kind="end", text="done: all_in"))
    board.end("the runtime is gone")
    assert [one["text"] for one in told(board, seen)] == ["done: all_in"]
    assert board.has_ended
