"""How the guard's loop waits: with one poll object, for commands and for the end of its supervisor."""

import select


class Waiting:
    """What the loop waits with; made once, and changed only when descriptors do."""

    def __init__(self) -> None:
        self._polled: tuple[int, int | None] = (-1, None)
        self._poll = select.poll()

    def wait(self, descriptors: tuple[int, int | None], patience_ns: int) -> set[int | None]:
        """Wait for something to read on the first, or the end of the second; return which of them it was."""
        if descriptors != self._polled:
            self._polled, self._poll = descriptors, select.poll()
            heard, watched = descriptors
            self._poll.register(heard, select.POLLIN)
            if watched is not None:
                self._poll.register(watched, 0)
        return {descriptor for descriptor, _ in self._poll.poll(-(-patience_ns // 1_000_000))}
