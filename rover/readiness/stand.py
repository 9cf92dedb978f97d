"""The robot on its stand: driven through the guard with its wheels in the air, a person beside it or nobody."""

from collections.abc import Mapping, Sequence
from functools import cached_property, partial
from typing import Any, NamedTuple

from rover.files.load import Loaded
from rover.files.robot import Robot
from rover.readiness.finding import Correction
from rover.readiness.person import Person
from rover.session.by_hand import ManualSession, TimedReading, end_hold, step_held
from rover.stopping import Phase

REST_S, SETTLE_S = 3.0, 0.5


class NotPermittedError(Exception):
    """Motion is not permitted; the message says why."""


class AtRest(NamedTuple):
    """What came in from a robot at rest: readings, and by link (lines, damaged ones)."""

    readings: list[TimedReading]
    lines: Mapping[str, tuple[int, int]]


class RobotOnStand:
    """A robot whose devices are at work.

    Attributes:
        robot, robot_file: what its file says, and where that is.
        session: its devices.
        person: who answers; None: the encoders alone do.
        commands_last_ns: as those of a run.
    """

    def __init__(self, loaded: Loaded[Robot], session: ManualSession, person: Person | None) -> None:
        self.robot, self._source, self.robot_file = loaded.model, loaded.source, loaded.source.path
        self.session, self.person = session, person
        self.commands_last_ns = round(self.robot.limits.command_lasts * 1e9)

    @cached_property
    def at_rest(self) -> AtRest:
        """What came in during a few seconds at rest; they are waited for once."""
        self.session.poll()
        before = self._line_counts()
        readings = self.session.watch(REST_S)
        lines = {
            name: (lines - before[name][0], damaged - before[name][1])
            for name, (lines, damaged) in self._line_counts().items()
        }
        return AtRest(readings, lines)

    def _line_counts(self) -> dict[str, tuple[int, int]]:
        return {
            name: (link.counts.lines, sum(link.damage.values())) for name, link in self.session.devices.links.items()
        }

    def permit(self) -> None:
        """Have motion permitted.

        Raises:
            NotPermittedError: it is not to be had.
        """
        end_hold(self.session)
        if self.session.is_running:
            return
        self.session.client.enable()
        self.session.wait_for(lambda: self.session.is_running or self.phase() is Phase.READY, 1.0)
        if self.phase() is Phase.READY and self.agrees("The stop has been reset. Let motors turn again?"):
            self.session.client.resume()
            self.session.wait_for(lambda: self.session.is_running, 1.0)
        self.see_that_it_runs()

    def see_that_it_runs(self) -> None:
        """Raise `NotPermittedError` with the cause if motion is not permitted."""
        state = self.session.state
        if not self.session.is_running:
            raise NotPermittedError("the guard is silent" if state is None else state.note or state.cause)

    def phase(self) -> Phase | None:
        """Return where the guard's permission stands."""
        return None if self.session.state is None else self.session.state.phase

    def agrees(self, question: str) -> bool:
        """Tell whether the person says yes, or there is none."""
        return (
            self.person is None
            or self.person.choose(question, ("yes", "no"), partial(step_held, self.session)) == "yes"
        )

    def drive(self, left: float, right: float, seconds: float) -> list[TimedReading]:
        """Give the wheels duties for a time, then wait for them to stand; return what came in.

        Raises:
            NotPermittedError: motion was stopped under way.
        """
        self.permit()
        under_way = self.session.watch(
            seconds, lambda now_ns: self.session.drive(left, right, now_ns + self.commands_last_ns)
        )
        self.rest()
        self.see_that_it_runs()
        return under_way + self.session.watch(SETTLE_S)

    def rest(self) -> None:
        """Tell the wheels to stand: those with a driver of one's own may have no deadline that does."""
        self.session.drive(0.0, 0.0, self.session.now_ns + self.commands_last_ns)

    def hold_jaws(self, opening: float) -> None:
        """Say again where the jaws are to be, wheels at zero."""
        expires_ns = self.session.now_ns + self.commands_last_ns
        self.session.grip(opening, expires_ns)
        self.session.drive(0.0, 0.0, expires_ns)

    def correction(self, family: str, key: str, value: str) -> Correction:
        """Return where in the robot file a device's key is to be written: its line, or the device's if it has none."""
        where = ("devices", family, key)
        spot, is_new = self._source.spot(where, of_key=True), not _has(self._source.values, where)
        return Correction(self._source.name, spot.line, spot.column, f"devices.{family}", f"{key}: {value}", is_new)


def _has(values: Any, where: Sequence[str]) -> bool:
    for part in where:
        if not isinstance(values, Mapping) or part not in values:
            return False
        values = values[part]
    return True
