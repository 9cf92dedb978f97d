"""What a run leaves to whoever looks after it: figures on its devices, objects that are not in, devices not well."""

from collections.abc import Iterator

from rover.core import Core, StepReadings, StepRecord
from rover.events import Event, Health, HealthChange, Note
from rover.record.fates import Fate, Fates
from rover.session.figures import Figures

MOMENT_S = 2.0
"""A device that has been silent for less than this (s) as the run ends has not given up: a line stalls now and then."""


class Aftermath:
    """Follows a run, step by step.

    Args:
        core: at work in it.
        began_ns: when it began.

    Attributes:
        noted: what the behaviour noted to have seen, as it did so last.
    """

    def __init__(self, core: Core, began_ns: int) -> None:
        self._core = core
        self._figures, self._fates, self._unwell = Figures(), Fates(), Unwell(began_ns)
        self.noted: tuple[str, ...] = ()

    def take(self, given: StepReadings, decided: StepRecord) -> None:
        """Take a step in: what the core was given, what it decided."""
        self._figures.take(self._core, given, decided)
        if decided.events:
            seen = tuple(one.text for one in decided.events if isinstance(one, Note) and one.kind == "seen")
            self.noted = seen or self.noted
        for event in decided.events:
            self._fates.take(event)
            self._unwell.take(given.now_ns, event)

    @property
    def figures(self) -> dict[str, float]:
        """What the run came to know of its devices, for the record."""
        return self._figures.summed_up(self._core)

    def not_in(self, left: int | None) -> tuple[Fate, ...]:
        """Return the objects that were to be fetched and are not in the tray; ``left``: as many as the ledger has left.

        There are none where nothing was to be brought (None).
        """
        errand = self._core.known.errand
        kinds = [kind for kind in errand.kinds if errand.fetches(kind)]
        return () if left is None else tuple(self._fates.not_in(kinds, left))

    def gave_up(self, ended_ns: int) -> tuple[str, ...]:
        """Return the devices that are not well at the end, each with what is wrong, and since when."""
        return tuple(self._unwell.at(ended_ns))


class Unwell:
    """Follows which devices are not well, since when and why.

    Args:
        began_ns: when the run began.
    """

    def __init__(self, began_ns: int) -> None:
        self._began_ns = began_ns
        self._since: dict[str, tuple[int, HealthChange]] = {}

    def take(self, now_ns: int, event: Event) -> None:
        """Take an event in."""
        if not isinstance(event, HealthChange):
            return
        if event.health is Health.OK:
            self._since.pop(event.device, None)
        else:
            self._since[event.device] = (now_ns, event)

    def at(self, ended_ns: int) -> Iterator[str]:
        """Yield a sentence on each device that is not well at the end."""
        for since_ns, change in self._since.values():
            if (ended_ns - since_ns) * 1e-9 > MOMENT_S or change.health is not Health.OVERDUE:
                why = f": {change.why}" if change.why else ""
                since = (since_ns - self._began_ns) * 1e-9
                yield f"{change.device.replace('_', ' ')}, {change.health.value} since {since:.1f} s{why}"
