"""The faults of a bench file, by time."""

from collections.abc import Iterable

from rover.bench.draws import NEVER_NS
from rover.files.faults import ScheduledFault

Faults = tuple[tuple[int, int, str], ...]


def _ns(seconds: float) -> int:
    return round(min(seconds * 1e9, NEVER_NS))


class Schedule:
    """Which faults are on, and which happen at once and are still to come."""

    def __init__(self, faults: Iterable[ScheduledFault]) -> None:
        ordered = sorted(faults, key=lambda fault: fault.at)
        self._moments = [fault for fault in ordered if fault.lasts == 0.0 and fault.what in ("jump", "moved")]
        self._spans: dict[str, list[tuple[int, int, str]]] = {}
        for fault in ordered:
            if fault not in self._moments:
                span = (_ns(fault.at), _ns(fault.at + fault.lasts), fault.what)
                self._spans.setdefault(fault.device, []).append(span)

    def of(self, device: str) -> Faults:
        """Return the lasting faults of a device in the order they begin; mostly there are none."""
        return tuple(self._spans.get(device, ()))

    @property
    def next_moment_ns(self) -> int:
        """When the next fault that happens at once is due."""
        return _ns(self._moments[0].at) if self._moments else NEVER_NS

    def take_moment(self) -> ScheduledFault:
        """Return that fault and forget it."""
        return self._moments.pop(0)


def on(faults: Faults, now_ns: int) -> str | None:
    """Return which of a device's faults is on, the one that began last, or None."""
    return next((what for begins, ends, what in reversed(faults) if begins <= now_ns < ends), None)
