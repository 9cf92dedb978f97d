"""The story of one object, from when it was first seen."""

from collections.abc import Iterator

from rover.diagnosis.entry import Entry
from rover.diagnosis.evidence import Evidence
from rover.diagnosis.words import item, place
from rover.errors import UserError
from rover.events import Delivery, Find, GivenUp, ObjectEvent


def story_in_words(evidence: Evidence, number: int) -> Iterator[str]:
    """Yield the lines on one object, by its number in the run.

    Raises:
        UserError: the record has no such object.
    """
    entries = evidence.entries
    kinds = {one.event.number: one.event.kind for one in entries if isinstance(one.event, ObjectEvent)}
    if number not in kinds:
        known = f"they are numbered from 1 to {max(kinds)}" if kinds else "it knows of none"
        raise UserError(f"--object {number}: the record has no such object; {known}")
    yield f"Object {number}, {kinds[number]}"
    for entry in entries:
        if text := _in_words(entry, number):
            yield item(f"{text} {place(entry, evidence.run)}.")


def _in_words(entry: Entry, number: int) -> str:
    """Return what an event says of an object, '' if nothing."""
    match entry.event:
        case ObjectEvent(number=of, what=what, x=x, y=y, why=why) if of == number:
            return f"{what.capitalize()} {_at(x, y)}{f': {why}' if why else ''}"
        case Find(object=of, number=find, x=x, y=y) if of == number:
            return f"Found {_at(x, y)}, as find {find}"
        case GivenUp(object=of, x=x, y=y, why=why) if of == number:
            return f"Given up {_at(x, y)}: {why}"
        case Delivery(object=of, slot=slot, x=x, y=y, known_by=known_by, why=why) if of == number:
            return f"Delivered {_at(x, y)}, in slot {slot}: {known_by}{f', {why}' if why else ''}"
    return ""


def _at(x: float, y: float) -> str:
    return f"at x {x:.2f} m, y {y:.2f} m"
