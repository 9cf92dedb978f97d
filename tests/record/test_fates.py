"""What became of each object: told by its events alone."""

import pytest

from rover.events import BELIEVED, SEEN, Delivery, Event, Find, GivenUp, ObjectEvent
from rover.record.fates import NEVER_CHOSEN, NOT_REACHED, STILL_HELD, Fates


def happens(what: str, number: int = 1) -> ObjectEvent:
    return ObjectEvent(number, "teal", what, 1.0, 2.0)


SEEN_ONE, FOUND = happens("seen"), Find(1, "teal", 1.0, 2.0, 0.0, 0.0, 0.0, object=1)
LOST = GivenUp("teal", 3.0, 2.0, "lost on the way", 1)
DELIVERED = Delivery(1, "teal", 0, 0.5, 0.5, known_by=SEEN, object=1)


@pytest.mark.parametrize(
    ("events", "why"),
    [
        ([SEEN_ONE], NEVER_CHOSEN),
        ([SEEN_ONE, happens("chosen")], NOT_REACHED),
        ([SEEN_ONE, happens("chosen"), FOUND], STILL_HELD),
        ([SEEN_ONE, happens("chosen"), FOUND, LOST], "lost on the way"),
        ([SEEN_ONE, happens("chosen"), FOUND, LOST, happens("seen again")], "lost on the way"),
        ([SEEN_ONE, FOUND, LOST, happens("gripped again"), DELIVERED], None),
        ([SEEN_ONE, FOUND, DELIVERED], None),
        ([SEEN_ONE, happens("forgotten")], None),
        ([SEEN_ONE, happens("forgotten"), happens("seen again")], NEVER_CHOSEN),
        ([SEEN_ONE, LOST, happens("recalled")], NEVER_CHOSEN),
        ([happens("seen in the tray")], None),
    ],
)
def test_why_an_object_is_not_in(events: list[Event], why: str | None):
    fates = Fates()
    for event in events:
        fates.take(event)
    assert [fate.why_not_in for fate in fates.not_in(["teal"], None)] == ([] if why is None else [why])


def test_other_kinds_are_not_asked_for():
    fates = Fates()
    fates.take(SEEN_ONE)
    assert fates.not_in(["amber"], None) == []


def test_what_is_only_believed_to_be_in_is_told_apart():
    fates = Fates()
    for event in (SEEN_ONE, FOUND, Delivery(1, "teal", 0, 0.5, 0.5, known_by=BELIEVED, object=1)):
        fates.take(event)
    assert [fate.number for fate in fates.believed()] == [1]
    assert fates.not_in(["teal"], None) == []


def test_no_more_were_only_seen_than_the_ledger_has_left():
    fates = Fates()
    for event in (happens("seen", 1), happens("seen", 2), happens("seen", 3), LOST):
        fates.take(event)
    numbers = {left: [fate.number for fate in fates.not_in(["teal"], left)] for left in (None, 0, 1, 2, 3)}
    assert numbers == {None: [1, 2, 3], 0: [1], 1: [1], 2: [1, 3], 3: [1, 2, 3]}
