"""Servo gripper on a PWM channel: the pulse width sets the jaw opening.

A servo of this kind takes pulses of about 1 to 2 ms, fifty times a second: a convention, not a standard, so the
robot file states the pulse of the open and of the closed jaws, and nothing beyond them is ever sent.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from rover.devices.gripper.values import SERVO_PERIOD_S
from rover.devices.kernel.files import read_number
from rover.devices.kernel.gpio import InputLines
from rover.devices.kernel.pwm import PwmChannel
from rover.devices.readings import JawsCommand, JawsValue, Reading
from rover.quantities import clamp

_HELD_OPEN_BY = 0.05
"""Jaws commanded to close that stay open by more than this share have something between them."""
_NS = 1e9

ReadJaws = Callable[[float | None], JawsValue | None]
"""Returns what the jaws report while they are commanded an opening (None: limp, or still on their way)."""


def pulse_for(opening: float, closed_s: float, open_s: float) -> float:
    """Return the pulse width (s) of a jaw opening (0 closed to 1 open); what lies beyond is cut.

    Raises:
        ValueError: the opening is not a number.
    """
    if not math.isfinite(opening):
        raise ValueError(f"a jaw opening of {opening}: the command is not carried out, and the jaws stay as they are")
    return closed_s + clamp(opening, 0.0, 1.0) * (open_s - closed_s)


class Slew:
    """Jaw opening as commanded, moving to its target no faster than the full travel in ``travel_s``. Pure.

    Where the jaws are is not known until they have been commanded once, so the first target is taken at once.

    Args:
        travel_s: time for the full travel (s).
        push_for_s: how long (s) the jaws may push after closing before they go limp; a new target begins anew.
    """

    def __init__(self, travel_s: float, push_for_s: float) -> None:
        self._travel_s, self._push_for_s = travel_s, push_for_s
        self._target: float | None = None
        self._now_ns = 0
        self._pushes_from_ns: int | None = None
        self.opening: float | None = None

    def aim(self, target: float | None, now_ns: int) -> None:
        """Set the opening to go to; None lets the jaws go limp."""
        self.move(now_ns)
        if target == self._target:
            return
        self._target = target
        start, self._pushes_from_ns = self.opening, None
        if target is None or start is None:
            self.opening = start = target
        if target is not None and start is not None and target <= start and target < 1.0:
            self._pushes_from_ns = now_ns + round((start - target) * self._travel_s * _NS)

    def move(self, now_ns: int) -> None:
        """Bring `opening` up to a time (ns)."""
        share = (now_ns - self._now_ns) / _NS / self._travel_s
        self._now_ns = now_ns
        if self._target is None or self.opening is None:
            return
        self.opening += clamp(self._target - self.opening, -share, share)
        if self._pushes_from_ns is not None and now_ns - self._pushes_from_ns > self._push_for_s * _NS:
            self.opening = None

    @property
    def has_arrived(self) -> bool:
        """The opening is the one it was to go to."""
        return self.opening is not None and self.opening == self._target


class Gripper:
    """The jaws, commanded by `apply` and moved on by every `poll`; both belong to one thread.

    The channel is off (the servo limp) until the first command, after ``push_for`` and once closed: gear friction
    then holds what is held.

    Raises:
        DeviceError: the channel or the feedback's pin or file cannot be had.
    """

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        self._closed_s, self._open_s = options["closed"], options["open"]
        self._on_stop = options["on_stop"]
        self._slew = Slew(options["travel_time"], options["push_for"])
        self._sent: float | None = None
        self._feedback = Feedback(options)
        try:
            self._channel = PwmChannel(options["pwm_chip"], options["pwm_channel"], Path(options["pwm_files"]))
            self._channel.configure(1.0 / SERVO_PERIOD_S)
        except BaseException:
            self._feedback.close()
            raise

    def apply(self, command: JawsCommand, now_ns: int) -> None:
        """Begin to move to the wanted opening; a command that has expired changes nothing.

        Raises:
            ValueError: the opening is not a number.
        """
        if command.opening is not None:
            pulse_for(command.opening, self._closed_s, self._open_s)
        if now_ns < command.expires_ns:
            target = command.opening
            self._slew.aim(None if target is None else clamp(target, 0.0, 1.0), now_ns)
        self._send(now_ns)

    def stop(self, now_ns: int) -> None:
        """Do at a stop what ``on_stop`` says: hold (for ``push_for`` at most), release, or go limp."""
        if self._on_stop != "hold":
            self._slew.aim(1.0 if self._on_stop == "release" else None, now_ns)
        self._send(now_ns)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Move on, and return what jaws with feedback report."""
        self._send(now_ns)
        return self._feedback.poll(self._slew, now_ns)

    def close(self) -> None:
        """Go limp, whatever ``on_stop`` says: nobody is left to limit how long the servo pushes."""
        try:
            self._channel.close()
        finally:
            self._feedback.close()

    def _send(self, now_ns: int) -> None:
        self._slew.move(now_ns)
        opening = self._slew.opening
        if opening == self._sent:
            return
        self._channel.set_pulse(0.0 if opening is None else pulse_for(opening, self._closed_s, self._open_s))
        self._sent = opening


class Feedback:
    """What the jaws report, at the device's ``rate``, by the ``feedback`` that is fitted.

    ``switch``: ``feedback_pin`` is pulled up, and low while a jar presses the switch. ``position``: the number in
    ``feedback_file`` lies between ``reads_closed`` and ``reads_open``. ``current``: the number in
    ``feedback_file`` rises above ``holds_above`` while closed jaws push on something.

    Raises:
        DeviceError: its pin or file cannot be had.
    """

    def __init__(self, options: Mapping[str, Any]) -> None:
        self._period_ns = round(_NS / options["rate"])
        self._next_ns = self._sequence = 0
        self._read, self.close = _feedback_of(options)

    def poll(self, slew: Slew, now_ns: int) -> Sequence[Reading]:
        """Return a report when one is due; ``slew`` tells where the jaws should be."""
        if now_ns < self._next_ns:
            return ()
        self._next_ns = now_ns + self._period_ns
        value = self._read(slew.opening if slew.has_arrived else None)
        if value is None:
            return ()
        self._sequence += 1
        return [Reading(now_ns, self._sequence, value)]


def _feedback_of(options: Mapping[str, Any]) -> tuple[ReadJaws, Callable[[], None]]:
    """Return (what the jaws report, how to let go of it)."""
    kind = options["feedback"]
    if kind == "none":
        return (lambda wanted: None), lambda: None
    if kind == "switch":
        pin = options["feedback_pin"]
        lines = InputLines(options["gpio"], [pin], "pull_up", debounce_s=0.005)
        return (lambda wanted: _switch_value(lines, pin)), lines.close
    file = Path(options["feedback_file"])
    read_number(file)
    if kind == "current":
        threshold = options["holds_above"]
        return (lambda wanted: _current_value(read_number(file), threshold, wanted)), lambda: None
    ends = options["reads_closed"], options["reads_open"]
    return (lambda wanted: _position_value(read_number(file), ends, wanted)), lambda: None


def _switch_value(lines: InputLines, pin: int) -> JawsValue:
    lines.edges()
    return JawsValue(None, not lines.is_high(pin))


def _current_value(number: float, threshold: float, wanted: float | None) -> JawsValue:
    """Return what the current tells of jaws that push: nothing while they move, or have gone limp on something."""
    return JawsValue(None, None if wanted is None else number > threshold)


def _position_value(number: float, ends: tuple[float, float], wanted: float | None) -> JawsValue:
    closed, opened = ends
    opening = (number - closed) / (opened - closed)
    holding = None if wanted is None else wanted < 1.0 and opening - wanted > _HELD_OPEN_BY
    return JawsValue(clamp(opening, 0.0, 1.0), holding)
