"""Why states ended as they did: for the record alone, nothing is decided by it."""

from rover.awaited import Awaited
from rover.behaviour.model import ExitNode, StateNode
from rover.events import StateChange

FAILED = "failed: "


class Causes:
    """How each active state ended, in words, and why inner graphs failed.

    Attributes:
        latest: the latest failure or time-out since the outermost state was entered; '' for none.
    """

    def __init__(self) -> None:
        self._ended: dict[str, str] = {}
        self.latest = ""

    def enter(self, path: str) -> None:
        """Note that a state is entered: it has not ended."""
        self._ended.pop(path, None)
        if "/" not in path:
            self.latest = ""

    def done(self, path: str) -> None:
        """Note that a state's activity ended well."""
        self._ended[path] = "done"

    def fail(self, path: str, why: str) -> None:
        """Note that a state's activity failed."""
        self._ended[path] = f"{FAILED}{why}"
        self.latest = why

    def ended(self, path: str) -> str:
        """Return how a state ended: ``done``, ``failed: <why>``, or '' if it has not."""
        return self._ended.get(path, "")

    def time_out(self, left: str, one: ExitNode, waited: tuple[Awaited, ...]) -> str:
        """Note that a state is left by time, and return why, in words: what its first exit lacked."""
        self.latest = f"'{left}' left {one.text}{_lacking(waited[0]) if waited else ''}"
        return self.latest

    def end_graph(self, change: StateChange, final: StateNode) -> None:
        """Note how a change of state into a final one ended the state round it."""
        if final.final == "done":
            self._ended[final.parent] = "done"
        elif final.final == "failed":
            self._ended[final.parent] = f"{FAILED}{self._why_failed(change)}"

    def _why_failed(self, change: StateChange) -> str:
        if change.outcome.startswith(FAILED):
            return change.outcome.removeprefix(FAILED)
        used_up = "".join(f"{one.tries} tries of '{one.state}' used up" for one in change.diversions[-1:])
        last = f"{'last: ' if used_up else ''}{self.latest}" if self.latest else ""
        return "; ".join(said for said in (used_up, last) if said) or f"'{change.left}' left by '{change.exit}'"


def _lacking(one: Awaited) -> str:
    """Return in words what an exit lacked, without numbers: those are in the record, and differ each time."""
    if devices := dict.fromkeys(lack.device for lack in one.lacks if lack.device):
        return f", for want of {' and '.join(devices)}"
    missing = [part.text for part in one.parts if not part.holds]
    return f", not {' and not '.join(missing)}" if missing else ", not confirmed"
