"""The real robot as calibration drives it: through the motor guard, with a person beside it."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from rover.calibrate.findings import CalibrationError
from rover.calibrate.gripper import opening_at
from rover.calibrate.person import HumanAssistant
from rover.devices.gripper.keys import ServoPinsKeys
from rover.devices.kernel.files import read_number
from rover.devices.readings import Reading
from rover.files.load import Loaded
from rover.files.robot import Robot
from rover.readiness.person import Person
from rover.session.by_hand import PERIOD_NS, ManualSession, end_hold, manual_session, step_held

PERMITTED_WITHIN_S = 1.0


class RobotDrivetrain:
    """The robot through its drivers and the motor guard (see `rover.calibrate.apparatus.Drivetrain`)."""

    def __init__(self, session: ManualSession) -> None:
        self._session, self.period_s = session, PERIOD_NS * 1e-9
        self._lasts_ns = round(session.robot.limits.command_lasts * 1e9)
        self._opening: float | None = None

    @property
    def now_ns(self) -> int:
        """The present time (monotonic ns)."""
        return self._session.now_ns

    def step(self, left: float, right: float) -> Sequence[tuple[str, Reading]]:
        """Drive for a step; standing still needs no permission.

        Raises:
            CalibrationError: the guard does not permit motion (any more), or a driver gave up.
        """
        session = self._session
        end_hold(session)
        if session.is_running:
            expires_ns = session.now_ns + self._lasts_ns
            if self._opening is not None:
                session.grip(self._opening, expires_ns)
            session.drive(left, right, expires_ns)
        elif left or right or self._opening is not None:
            why = session.state.cause if session.state else "no guard answers"
            raise CalibrationError(f"motion is not permitted: {why}")
        heard = session.step()
        for family, why in session.faults.items():
            raise CalibrationError(f"{family}: {why}")
        return [(one.family, one.reading) for one in heard]

    def jaws(self, pulse: float) -> None:
        """Tell the servo a pulse (s), from the next step on."""
        self._opening = opening_at(pulse, self._session.robot)

    def feedback(self) -> float | None:
        """Return the number in the gripper's feedback file, where it has one."""
        gripper = self._session.robot.devices.gripper
        file = gripper.feedback_file if isinstance(gripper, ServoPinsKeys) else None
        return None if file is None else read_number(Path(file))


@contextmanager
def on_the_robot(
    loaded: Loaded[Robot], guard: Path | None, record: Path, person: Person
) -> Iterator[tuple[RobotDrivetrain, HumanAssistant]]:
    """Open the robot, and have the person permit motion with a typed word.

    Raises:
        CalibrationError: motion is not permitted.
        NobodyAnswersError: the input has ended.
        RunError, LoadError, RecordError: see `rover.session.by_hand.manual_session`.
    """
    question = "the robot is going to move. Nobody near it, emergency stop at hand? Type yes to permit:"
    with manual_session(loaded, guard, record, "Calibration") as session:
        if person.ask(question, partial(step_held, session)) != "yes":
            raise CalibrationError("motion was not permitted; nothing was moved, nothing is written")
        session.client.reset()
        session.client.go_on()
        if not session.wait_for(lambda: session.is_running, PERMITTED_WITHIN_S):
            state = session.state
            why = "the motor guard does not answer" if state is None else state.note or state.cause
            raise CalibrationError(f"the motor guard does not permit motion: {why}")
        yield RobotDrivetrain(session), HumanAssistant(person, partial(step_held, session))
