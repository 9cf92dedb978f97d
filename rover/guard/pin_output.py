"""Motors and servo on pins of the board itself, as the guard writes to them; jaws on pins beside a serial line."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from rover.devices.gripper.values import SERVO_PERIOD_S
from rover.guard.output import ZERO, Duties, Output

RETRY_NS = 250_000_000


class PinOutput:
    """Motors on an H-bridge and a servo, each of them or one on pins of the board itself.

    Kernel PWM keeps its last duty when this process dies: the supervisor is the second way to zero.

    Args:
        drive: keys of the `HBridge`; None: the motors are elsewhere.
        servo: ``pwm_channel``, ``pwm_chip``, ``pwm_files``; None: no gripper.
    """

    def __init__(self, drive: Mapping[str, Any] | None, servo: Mapping[str, Any] | None) -> None:
        self.fault = "not open yet"
        self.is_stuck = False
        self._drive_options, self._servo_options = drive, servo
        self._is_open = False
        self._bridge: Any = None
        self._servo: Any = None
        self._retry_ns = 0

    def alarm(self) -> str:
        """Nothing happens to pins that could not be seen in `fault`."""
        return ""

    def drive(self, left: float, right: float, until_ns: int) -> Duties:
        """Set the duties; pins have no deadline of their own, so ``until_ns`` is the guard's to keep."""
        if self._bridge is None:
            return ZERO
        applied: Duties = self._guarded(lambda: self._bridge.apply(left, right)) or ZERO
        return applied

    def zero(self) -> None:
        """Bring the wheels to zero."""
        if self._bridge is not None:
            self._guarded(self._bridge.zero)

    def servo(self, pulse_us: int, until_ns: int) -> None:
        """Set the pulse width."""
        if self._servo is not None:
            self._guarded(lambda: self._servo.set_pulse(pulse_us / 1e6))

    def work(self, now_ns: int) -> bytes:
        """Open the pins if that is due; nothing comes in from them."""
        if not self._is_open and now_ns >= self._retry_ns:
            self._retry_ns = now_ns + RETRY_NS
            self._guarded(self._open)
        return b""

    def descriptor(self) -> int | None:
        """There is nothing to poll."""
        return None

    def is_pending(self) -> bool:
        """Nothing ever waits."""
        return False

    def close(self) -> None:
        """Zero, and let go of pins and channels; a failure of one does not keep the others from it."""
        bridge, servo, self._bridge, self._servo = self._bridge, self._servo, None, None
        self._is_open = False
        self.is_stuck |= not _closed(bridge)
        _closed(servo)

    def _open(self) -> None:
        # Imported here, so that a guard on a serial line loads nothing of pins.
        from rover.devices.drive.h_bridge import HBridge
        from rover.devices.kernel.pwm import PwmChannel

        if self._drive_options is not None:
            self._bridge = HBridge(self._drive_options)
        if self._servo_options is not None:
            options = self._servo_options
            self._servo = PwmChannel(options["pwm_chip"], options["pwm_channel"], Path(options["pwm_files"]))
            self._servo.configure(1.0 / SERVO_PERIOD_S)
        self._is_open, self.fault = True, ""
        self.is_stuck = False  # both channels were zero as they were opened

    def _guarded(self, act: Callable[[], Any]) -> Any:
        """Return what ``act`` returns; if it fails, everything is let go, zero first."""
        try:
            return act()
        except Exception as error:
            self.close()
            self.fault = str(error) or type(error).__name__
            return None


def _closed(device: Any) -> bool:
    """Tell whether a device, if there is one, could be closed."""
    try:
        if device is not None:
            device.close()
    except Exception:
        return False
    return True


class LineAndPins:
    """Wheels behind a co-processor, and jaws on pins of the board itself; what is wrong with one stops both."""

    def __init__(self, line: Output, pins: Output) -> None:
        self._line, self._pins = line, pins
        self.drive, self.zero, self.alarm = line.drive, line.zero, line.alarm
        self.descriptor, self.is_pending = line.descriptor, line.is_pending
        self.servo = pins.servo

    @property
    def fault(self) -> str:
        """What is wrong, in words for a person; empty when nothing is."""
        return self._line.fault or self._pins.fault

    @property
    def is_stuck(self) -> bool:
        """Wheels may be turning and could not be brought to zero from here."""
        return self._line.is_stuck

    def work(self, now_ns: int) -> bytes:
        """Do what is due at both, and return what came in on the line."""
        self._pins.work(now_ns)
        return self._line.work(now_ns)

    def close(self) -> None:
        """Bring the wheels to zero, then let the jaws go limp."""
        try:
            self._line.close()
        finally:
            self._pins.close()
