"""What becomes of the serial links during a run: when one is lost and open again, and how much came in damaged."""

from collections.abc import Mapping

from rover.link.link import Link
from rover.link.port import PortCounts


class LinkWatch:
    """Follows the links of a session, by name; looked at now and then."""

    def __init__(self, links: Mapping[str, Link]) -> None:
        self._links = links
        self._told = {name: link.counts for name, link in links.items()}

    def news(self) -> list[str]:
        """Return what has become of them since the last call, in sentences; mostly none."""
        found = []
        for name, link in self._links.items():
            before, now = self._told[name], link.counts
            if (now.opened, now.lost) != (before.opened, before.lost):
                self._told[name] = now
                found += _changes(name, before, now)
        return found

    def figures(self) -> Mapping[str, Mapping[str, object]]:
        """Return by link what its port has done, and how often each kind of damage was met."""
        return {
            name: {**link.counts._asdict(), "damage": {kind.value: count for kind, count in link.damage.items()}}
            for name, link in self._links.items()
        }


def _changes(name: str, before: PortCounts, now: PortCounts) -> list[str]:
    lost = [f"{name}: the line was lost ({now.lost} times so far)"] if now.lost > before.lost else []
    return [*lost, *([f"{name}: the line is open again"] if now.opened > before.opened else [])]
