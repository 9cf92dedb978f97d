"""Battery monitor on an analogue input that the kernel shows as files (``/sys/bus/iio/devices/iio:deviceN``)."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from rover.devices.kernel.files import DeviceError, read_number
from rover.devices.readings import BatteryValue, Fault, Reading

_NS = 1e9
SUPPLY_LOW = "the board's own supply is too low; look at its regulator, its cable and the battery"


class Battery:
    """Battery voltage, read at the device's ``rate``: (raw + offset) x scale is millivolts at the pin.

    Source: the kernel's documentation of ``in_voltageY_raw``, ``_offset`` and ``_scale`` (ABI, sysfs-bus-iio).

    While the board says that its own supply is too low (``supply_alarm``, its ``in0_lcrit_alarm`` file), no voltage can
    be trusted: the device is faulty until the alarm has gone.

    Raises:
        DeviceError: a file cannot be read.
    """

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        self._file, alarm, scale = Path(options["file"]), options["supply_alarm"], options["scale"]
        self._alarm = None if alarm is None else Path(alarm)
        self._divider: float = options["divider"]
        scale_mv = _beside(self._file, "scale") if scale is None else scale * 1000.0
        if scale_mv is None:
            raise DeviceError(
                f"there is no scale file beside {self._file}; write how much one step is, such as 'scale: 0.8 mV'"
            )
        self._scale_mv: float = scale_mv
        self._offset = _beside(self._file, "offset") or 0.0
        self._period_ns = round(_NS / options["rate"])
        self._next_ns = self._sequence = 0
        self._measure()

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the voltage as `BatteryValue`, or a `Fault`, when one is due.

        Raises:
            DeviceError: a file cannot be read any more.
        """
        if now_ns < self._next_ns:
            return ()
        self._next_ns = now_ns + self._period_ns
        self._sequence += 1
        return [Reading(now_ns, self._sequence, self._measure())]

    def close(self) -> None:
        """Do nothing: no file stays open."""

    def _measure(self) -> BatteryValue | Fault:
        raw = read_number(self._file)
        # The alarm tells that the supply is, or was since the last look, below what the board needs.
        if self._alarm is not None and read_number(self._alarm) != 0.0:
            return Fault(SUPPLY_LOW)
        return BatteryValue((raw + self._offset) * self._scale_mv / 1000.0 * self._divider)


def _beside(file: Path, what: str) -> float | None:
    """Return the number beside ``in_voltageM_raw`` for that input, or for all inputs of the device."""
    stem = file.name.removesuffix("_raw")
    for name in (f"{stem}_{what}", f"in_voltage_{what}"):
        if (file.parent / name).exists():
            return read_number(file.parent / name)
    return None
