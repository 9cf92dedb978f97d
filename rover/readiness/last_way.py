"""What stops the wheels when runtime, guard and supervisor are all killed at once: nothing of this software can."""

from rover.devices.drive.keys import CoProcessorDriveKeys
from rover.files.robot import Robot
from rover.readiness.finding import Finding, Verdict

NAME = "all killed at once"
IN_REACH = "keep the hard-wired stop within reach"


def last_way(robot: Robot) -> Finding:
    """Return what is left to stop this robot then; always a note, since none of it can be seen from here."""
    drive = robot.devices.drive
    if isinstance(drive, CoProcessorDriveKeys):
        left = "the co-processor's deadline alone"
        advice = f"see that its firmware has one (tools/coprocessor/README.md), and {IN_REACH}"
    elif drive.is_own:
        left = "the deadline of the drive's own device alone"
        advice = f"'rover bring-up' tries it; {IN_REACH}"
    elif drive.watchdog is not None:
        left = "the hardware watchdog, some seconds later"
        advice = f"pins keep their last duty until it restarts the board: {IN_REACH}"
    else:
        left = "nothing: pins keep their last duty"
        advice = f"name the board's 'watchdog:' under 'drive:' in the robot file, and {IN_REACH}"
    return Finding(NAME, Verdict.NOTED, left, "wheels at zero", advice=(advice,))
