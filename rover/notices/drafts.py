"""What is worth a notice, and the notice of it: one to each recipient, worded as the errand file has it."""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from rover.events import Event, Find, StateChange, Stop, TrackPoint
from rover.files.notices import END, FIND, STOP, Notices
from rover.notices.outbox import Notice
from rover.notices.way import COMMAND, MAIL
from rover.notices.words import filled, find_values, metres
from rover.report.numbers import clock


class Happened(NamedTuple):
    """An event, and how things stood.

    Attributes:
        seconds: robot time since the run began.
        point: where the robot believed to be.
        delivered: how many objects were delivered by then.
        made: wall time.
    """

    event: Event
    seconds: float
    point: TrackPoint
    delivered: int
    made: datetime


@dataclass(frozen=True)
class Drafts:
    """Makes the notices of a run.

    Attributes:
        title: of the errand.
        notices: what the errand file says.
        record: of the run.
        run: its process.
        mark: what every subject begins with.
    """

    title: str
    notices: Notices
    record: Path
    run: str
    mark: str = ""

    def is_wanted(self, event: Event) -> bool:
        """Tell whether an event is an occasion that the errand names."""
        return (isinstance(event, Find) and FIND in self.notices.on) or (
            isinstance(event, Stop) and STOP in self.notices.on
        )

    def of(self, happened: Happened) -> Iterator[Notice]:
        """Yield the notices of an event; of the first change of state that of the end, which has no words yet."""
        match happened.event:
            case StateChange():
                if END in self.notices.on:
                    yield from self._to_all(END, self.mark, "", happened.made, self.run)
            case Find() as find:
                yield from self._worded(FIND, find_values(find), happened)
            case Stop(cause):
                yield from self._worded(STOP, _stop_values(cause, happened.point), happened)

    def _worded(self, occasion: str, values: dict[str, str], happened: Happened) -> Iterator[Notice]:
        values |= {
            "errand": self.title,
            "time": happened.made.isoformat(" ", "seconds"),
            "after": clock(round(happened.seconds * 1e9)),
            "delivered": str(happened.delivered),
            "record": str(self.record),
        }
        subject, text = filled(self.notices.templates, occasion, values)
        return self._to_all(occasion, self.mark + subject, text, happened.made)

    def _to_all(self, occasion: str, subject: str, text: str, made: datetime, run: str = "") -> Iterator[Notice]:
        when = made.isoformat(timespec="seconds")
        for way, recipient in ways(self.notices):
            message_id = f"<{uuid.uuid4()}@{_domain(self.notices)}>"
            yield Notice(message_id, when, occasion, way, recipient, subject, text, str(self.record.absolute()), run)

    def test(self, made: datetime) -> Iterator[Notice]:
        """Yield a notice that tries the ways."""
        text = f"{made.isoformat(' ', 'seconds')}\nThis notice tries whether one arrives. Nothing has happened.\n"
        return self._to_all("test", f"{self.title}: a notice on trial", text, made)


def ways(notices: Notices) -> list[tuple[str, str]]:
    """Return each way with each recipient."""
    by_mail = [(MAIL, address) for address in notices.mail.to] if notices.mail else []
    return by_mail + ([(COMMAND, notices.command)] if notices.command else [])


def _domain(notices: Notices) -> str:
    return notices.mail.sender.partition("@")[2] if notices.mail else "localhost"


def _stop_values(cause: str, point: TrackPoint) -> dict[str, str]:
    return {"cause": cause, "state": point.state, "x": f"{metres(point.x)} m", "y": f"{metres(point.y)} m"}
