"""Closing in on what a single frame showed is warned of."""

import pytest

from rover.activities.registry import specs
from rover.behaviour.analysis import examine

BEHAVIOUR = """
start: look
states:
  look:
    does: stand_still
    exits:
      - {when: CONDITION, go: fetch}
      - {after: 5 s, go: end}
  fetch: {does: close_in, exits: [{when: done or failed, go: end}, {after: 5 s, go: end}]}
  end: {final: done}
"""


@pytest.mark.parametrize(
    ("condition", "warned"),
    [
        ("target.seen", True),
        ("target.seen and target.distance < 1 m", True),
        ("target.seen and target.known", False),
        ("target.known", False),
        ("target.seen or pose.x > 1 m", False),
    ],
)
def test_closing_in_on_what_one_frame_showed_is_warned_of(graph_of, condition, warned):
    """`close_in` fails while the target is not known: seen in three frames."""
    found = examine(graph_of(BEHAVIOUR.replace("CONDITION", condition)), specs(), None)
    assert [one.warning for one in found] == [True] * warned
    assert all("leads to 'fetch', and 'close_in' fails while the target is not known" in one.why for one in found)
