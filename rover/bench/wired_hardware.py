"""The bench as the emulated co-processor of a wired rehearsal meets it: what its pins measure and move; its line."""

from collections import deque
from collections.abc import Mapping, Sequence
from typing import Any, Final, TypeVar

from rover.bench.bench import Bench
from rover.bench.devices import CALIBRATED
from rover.bench.draws import NEVER_NS, stream
from rover.bench.gripper import felt
from rover.bench.orientation import Orientation
from rover.bench.report_faults import Lagging, battery_with, heading_with, jaws_with
from rover.bench.reporter import NOTHING
from rover.devices.gripper.keys import GripperKeys
from rover.devices.keys import SIMULATED
from rover.devices.readings import BatteryValue, HeadingValue, JawsValue
from rover.files.fault_table import ReportsFault
from rover.link.emulated_hardware import EmulatedHardware, HardwareState
from rover.link.sentences import BatteryReport, CountsReport, HeadingReport, JawsReport

LINE_END: Final = b"\r\n"
AnyValue = TypeVar("AnyValue", HeadingValue, BatteryValue, JawsValue)
FAMILIES: Final[Mapping[type, str]] = {
    CountsReport: "counts",
    HeadingReport: "heading",
    BatteryReport: "battery",
    JawsReport: "gripper",
}
"""What is reported in which sentence."""


class BenchHardware(EmulatedHardware):
    """What is on one line. Any thread may call.

    Args:
        bench: the bench.
        names: by family, what the robot file calls the device that is on this line; those named for it if left out.
    """

    def __init__(self, bench: Bench, names: Mapping[str, str] | None = None) -> None:
        self._bench = bench
        self._orientation = Orientation(bench.file, bench.seed)
        self._gripper = bench.robot.devices.gripper or GripperKeys.model_validate({"driver": SIMULATED})
        names = {family: family for family in FAMILIES.values()} if names is None else names
        self._troubles = {family: bench.schedule.of(name) for family, name in names.items()}
        self._line, self._drive = bench.schedule.of("link"), bench.schedule.of("drive")
        self._draws = stream(bench.seed, f"faults of a line: {' '.join(names.values())}")
        self._late: deque[tuple[int, bytes]] = deque()
        self._boots = 0
        self._last: dict[str, Any] = {}
        self._lagging: Lagging[HeadingValue] = Lagging()

    def sample(self, now_ns: int) -> HardwareState:
        """Return what the sensors on the co-processor measure at ``now_ns``."""
        bench = self._bench
        bench.advance(now_ns)
        with bench.lock:
            if self._is_rebooting:
                bench.drive(0.0, 0.0, 0)
            base, (left, right) = bench.base, bench.encoders
            heading, battery, jaws = self._heading(), self._battery(), self._jaws()
            return HardwareState(
                left.absorb(base.left_travel),
                right.absorb(base.right_travel),
                heading.angle,
                heading.rate,
                CALIBRATED,
                battery.volts,
                battery.amps or 0.0,
                jaws.opening,
                jaws.holding,
            )

    def drive(self, left: float, right: float, now_ns: int) -> None:
        """Set the duties from now on; the deadline of a command is the emulator's."""
        self._bench.advance(now_ns)
        fault = self._drive.now
        if fault is not None and fault.stuck:
            return
        is_lost = (fault is not None and fault.silent) or self._is_rebooting
        self._bench.drive(*((0.0, 0.0) if is_lost else (left, right)), NEVER_NS)

    def servo(self, pulse_s: float | None, now_ns: int) -> None:
        """Turn the servo by its pulse (s), mapped by the robot file's ``open`` and ``closed``; None: limp."""
        self._bench.advance(now_ns)
        if self._fault("gripper").silent:
            return
        gripper = self._gripper
        span = gripper.open - gripper.closed
        self._bench.jaws(None if pulse_s is None or span == 0.0 else (pulse_s - gripper.closed) / span)

    def has_restarted(self) -> bool:
        """Tell whether a reboot has ended since the last call."""
        boots = sum(one.boots for one in (self._line, *self._troubles.values()))
        if boots == self._boots or self._is_rebooting:
            return False
        self._boots = boots
        return True

    def from_line(self, received: bytes, now_ns: int) -> bytes:
        """Return what arrives of bytes that were sent to it."""
        fault = self._line.now
        if fault is None or not received:
            return b"" if self._is_rebooting else received
        if fault.silent or self._is_rebooting:
            return b""
        return self._garbled(received, fault.garbled)

    def onto_line(self, sentences: Sequence[tuple[type, bytes]], now_ns: int) -> bytes:
        """Return what gets onto the line by now of sentences that are due."""
        if self._line.now is None and not self._late and all(one.now is None for one in self._troubles.values()):
            return super().onto_line(sentences, now_ns)
        line = self._line.now or NOTHING
        for kind, sentence in sentences if not (line.silent or self._is_rebooting) else ():
            fault = self._fault(FAMILIES.get(kind, ""))
            if not fault.silent and sentence:
                late_ns = round((fault.late + line.late) * 1e9)
                sentence = self._garbled(self._garbled(sentence, fault.garbled), line.garbled)
                self._late.append((now_ns + late_ns, sentence))
        due = b""
        while self._late and self._late[0][0] <= now_ns:
            due += self._late.popleft()[1]
        return due

    @property
    def _is_rebooting(self) -> bool:
        return any(one.now is not None and one.now.rebooting for one in (self._line, *self._troubles.values()))

    def _fault(self, family: str) -> ReportsFault:
        trouble = self._troubles.get(family)
        return NOTHING if trouble is None or trouble.now is None else trouble.now

    def _garbled(self, sent: bytes, share: float) -> bytes:
        """Return bytes of which, with a chance of ``share``, one before the line's end has become another."""
        if len(sent) <= len(LINE_END) or not share or self._draws.random() >= share:
            return sent
        at = self._draws.randrange(len(sent) - len(LINE_END))
        return sent[:at] + bytes([sent[at] ^ self._draws.randint(1, 255)]) + sent[at + 1 :]

    def _heading(self) -> HeadingValue:
        bench, fault = self._bench, self._fault("heading")
        angle = self._orientation.measure(bench.heading, (bench.x, bench.y), bench.now_ns)
        value = HeadingValue(angle, self._orientation.measure_rate(bench.base.turn_rate))
        if fault is not NOTHING:
            value = heading_with(fault, self._troubles["heading"].seconds_at(bench.now_ns), value, self._draws)
            value = self._lagging.says(value, fault.lag, bench.now_ns)
        return self._kept("heading", fault, value)

    def _battery(self) -> BatteryValue:
        supply, fault = self._bench.base.supply, self._fault("battery")
        plain = fault is NOTHING
        value = BatteryValue(supply.volts, supply.amps) if plain else battery_with(fault, supply, self._draws)
        return self._kept("battery", fault, value)

    def _jaws(self) -> JawsValue:
        fault = self._fault("gripper")
        return self._kept("gripper", fault, jaws_with(fault, felt(self._bench.jaws_state, self._gripper.feedback)))

    def _kept(self, family: str, fault: ReportsFault, value: AnyValue) -> AnyValue:
        """Return the value, or the last one of a device that is stuck."""
        kept: AnyValue = self._last.get(family, value) if fault.stuck else value
        self._last[family] = kept
        return kept
