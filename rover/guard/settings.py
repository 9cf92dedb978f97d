"""What the guard has to know, as a small JSON file that the runtime writes: models are not loaded here."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

SOCKET_NAME, SETTINGS_NAME, LOCK_NAME, LOG_NAME = "guard.socket", "guard.json", "guard.lock", "guard.log"
CHANNELS_NAME = "channels"
"""The files in the guard's folder; the last one names the PWM files to which a service manager's shell writes zero."""

DEADLINE_NS = 250_000_000
SPARE_NS = 2_000_000_000
FORGET_NS = 750_000_000
"""A pause shorter than this is a hiccup of a busy computer: the wheels stand from the deadline on, and go on with the
next command. After a longer one people may take the robot for dead, and it moves no more without a deliberate start."""


@dataclass(frozen=True)
class GuardSettings:
    """Settings of one guard; option texts are those of the robot file, in SI units.

    Attributes:
        drive: ``port`` and ``baud`` for a co-processor, or the keys of an `HBridge`; either with the keys of `Sides`.
            Empty: the wheels have a driver of a person's own, which the runtime tells what this guard permits.
        servo: the gripper's keys: ``open``, ``on_stop`` and ``push_for``, for pins ``pwm_channel``, ``pwm_chip`` and
            ``pwm_files``, and ``driver`` beside a serial drive; None: no gripper that the guard holds.
        stop_input: keys of the driver `StopInput`; None: none is wired.
        channels: (folder, chip, channel) of every PWM output, the servo's too: the supervisor brings them to zero.
        watchdog: the board's hardware watchdog; None: not used.
        deadline_ns: wheels are at zero when no valid command came for this long.
        forget_ns: the permit holder has to enable motion anew after so long a silence.
        linger_ns: with its starter gone, nobody connected and a stop latched, the guard ends after this long: who comes
            back in time finds the stop. With none latched it ends after `SPARE_NS`, and lets go of the port.
    """

    drive: Mapping[str, Any]
    servo: Mapping[str, Any] | None = None
    stop_input: Mapping[str, Any] | None = None
    channels: tuple[tuple[str, int, int], ...] = ()
    watchdog: str | None = None
    deadline_ns: int = DEADLINE_NS
    forget_ns: int = FORGET_NS
    linger_ns: int = 60_000_000_000

    @property
    def is_serial(self) -> bool:
        """The actuators are behind a co-processor on a serial line, not on pins."""
        return "port" in self.drive

    @property
    def servo_on_pins(self) -> Mapping[str, Any] | None:
        """The servo's keys where it is on pins, whatever the drive is on."""
        servo = self.servo
        is_on_line = self.is_serial and servo is not None and servo.get("driver") != "servo_pins"
        return None if is_on_line else servo

    def dumps(self) -> str:
        """Return the settings as JSON."""
        return json.dumps(asdict(self), sort_keys=True)


def load_settings(folder: Path) -> GuardSettings:
    """Return the settings that lie in the guard's folder."""
    keys = json.loads((folder / SETTINGS_NAME).read_text("utf-8"))
    keys["channels"] = tuple((root, chip, channel) for root, chip, channel in keys["channels"])
    return GuardSettings(**keys)


def pulse_after_stop(servo: Mapping[str, Any]) -> int | None:
    """Return the pulse (us; 0: limp) that a gripper's ``on_stop`` asks for; None: it stays as it is."""
    match servo["on_stop"]:
        case "release":
            return round(float(servo["open"]) * 1e6)
        case "limp":
            return 0
    return None
