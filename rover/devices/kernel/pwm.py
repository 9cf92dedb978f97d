"""Pulse-width modulation by the kernel's PWM files, as its documentation of ``/sys/class/pwm`` lays them out.

A channel keeps its last duty when the process that set it dies; see `silence`, for whoever watches that process.
"""

import errno
import fcntl
import math
import os
import time
from contextlib import suppress
from pathlib import Path

from rover.devices.kernel.files import DeviceError, explain, open_to_write, read_text, write_number

_FILES = ("period", "duty_cycle", "polarity", "enable")
_APPEAR_TRIES = 200
_APPEAR_PAUSE_S = 0.01
_NS = 1e9


class PwmChannel:
    """One channel of a PWM chip: exported, opened, and claimed against other processes until `close`.

    Whatever a dead process left on the channel is off before the constructor returns. One thread at a time.

    Args:
        chip: the N of ``pwmchipN``.
        channel: the M of ``pwmM`` in it.
        root: where the kernel shows PWM chips; a folder laid out alike in a test.

    Raises:
        DeviceError: no such chip or channel, no permission, or the channel is in use.
    """

    def __init__(self, chip: int, channel: int, root: Path) -> None:
        self._name = f"PWM channel {channel} of chip {chip}"
        self._chip, self._channel = root / f"pwmchip{chip}", channel
        self._period_ns = 0
        self._files: dict[str, int] = {}
        if not self._chip.is_dir():
            raise DeviceError(f"there is no PWM chip {chip} in {root}{_beside(root)}; is the PWM overlay loaded?")
        try:
            is_new = _export(self._chip, channel, self._name)
            self._open(_APPEAR_TRIES if is_new else 1)
        except BaseException:
            self._let_go()
            raise

    def _open(self, tries: int) -> None:
        folder = self._chip / f"pwm{self._channel}"
        self._files = {name: _open_when_there(folder / name, tries) for name in _FILES}
        try:
            fcntl.flock(self._files["enable"], fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise DeviceError(f"{self._name} is in use by another process of this robot; end that one first") from error
        self.off()

    def configure(self, frequency_hz: float) -> None:
        """Set the repeat rate, normal polarity, duty zero, and enable the channel.

        Raises:
            ValueError: the frequency is not above zero.
            DeviceError: the chip cannot do it.
        """
        if not (math.isfinite(frequency_hz) and frequency_hz > 0.0):
            raise ValueError(f"{self._name}: a frequency of {frequency_hz} Hz; it must be above zero")
        self.off()
        self._period_ns = round(_NS / frequency_hz)
        try:
            write_number(self._files["period"], self._period_ns)
            if read_text(self._files["polarity"]) == "inversed":
                os.pwrite(self._files["polarity"], b"normal\n", 0)
            self._write_duty(0)
            write_number(self._files["enable"], 1)
        except OSError as error:
            why = error.strerror or error
            raise DeviceError(f"{self._name} does not take {frequency_hz:g} Hz ({why}); try another rate") from error

    def set_duty(self, share: float) -> None:
        """Set the share of the period (0 to 1) that the output is high.

        Raises:
            ValueError: not a number from 0 to 1; the output stays as it is.
        """
        if not 0.0 <= share <= 1.0:
            raise ValueError(f"{self._name}: a duty of {share}; it must lie between 0 and 1")
        self._write_duty(round(share * self._period_ns))

    def set_pulse(self, seconds: float) -> None:
        """Set how long the output is high in each period (s).

        Raises:
            ValueError: not a number from zero to the period; the output stays as it is.
        """
        if not 0.0 <= seconds * _NS <= self._period_ns:
            period_s = self._period_ns / _NS
            raise ValueError(
                f"{self._name}: a pulse of {seconds} s; it must lie between 0 and the period, {period_s} s"
            )
        self._write_duty(round(seconds * _NS))

    def off(self) -> None:
        """Bring the duty to zero, then disable the channel."""
        if read_text(self._files["period"]) not in ("", "0"):  # the kernel refuses a duty before there is a period
            self._write_duty(0)
        if read_text(self._files["enable"]) == "1":
            write_number(self._files["enable"], 0)

    def close(self) -> None:
        """Switch off and give the channel back; a second call does nothing."""
        if not self._files:
            return
        try:
            self.off()
            with suppress(OSError):
                (self._chip / "unexport").write_text(f"{self._channel}\n", "ascii")
        finally:
            self._let_go()

    def _write_duty(self, duty_ns: int) -> None:
        write_number(self._files["duty_cycle"], duty_ns)

    def _let_go(self) -> None:
        for descriptor in self._files.values():
            os.close(descriptor)
        self._files = {}


def silence(chip: int, channel: int, root: Path) -> None:
    """Bring a channel to zero whoever holds it, for a supervisor whose process died or hangs. No claim is made.

    Raises:
        OSError: a file could not be written. A channel that is not exported drives nothing and is no error.
    """
    folder = root / f"pwmchip{chip}" / f"pwm{channel}"
    for name in ("duty_cycle", "enable"):
        with suppress(FileNotFoundError):
            descriptor = open_to_write(folder / name)
            try:
                write_number(descriptor, 0)
            finally:
                os.close(descriptor)


def _export(chip: Path, channel: int, name: str) -> bool:
    """Ask the kernel for the channel's files, unless they are there: left by a process that died. Tell which it was."""
    if (chip / f"pwm{channel}").is_dir():
        return False
    try:
        (chip / "export").write_text(f"{channel}\n", "ascii")
    except OSError as error:
        if error.errno == errno.EBUSY:
            raise DeviceError(f"{name} is in use by the kernel or another program; use another channel") from error
        if error.errno in (errno.ENODEV, errno.EINVAL):
            raise DeviceError(f"{name}: the chip has only {_count(chip)} channels, from 0") from error
        raise DeviceError(f"{name}: {explain(error, chip / 'export')}") from error
    return True


def _open_when_there(path: Path, tries: int) -> int:
    """Open a file of a channel: just exported, it may take a moment until it is there and its group is set."""
    for _ in range(tries - 1):
        try:
            return open_to_write(path)
        except (FileNotFoundError, PermissionError):
            time.sleep(_APPEAR_PAUSE_S)
    try:
        return open_to_write(path)
    except OSError as error:
        raise DeviceError(explain(error, path)) from error


def _count(chip: Path) -> str:
    try:
        return (chip / "npwm").read_text("ascii").strip()
    except OSError:
        return "few"


def _beside(root: Path) -> str:
    chips = sorted(path.name.removeprefix("pwmchip") for path in root.glob("pwmchip*"))
    return f" (there: {', '.join(chips)})" if chips else ""
