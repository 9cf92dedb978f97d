"""The operator's control of a run: keys of a terminal and the start button become requests to guard and core."""

from collections.abc import Sequence
from types import TracebackType

from rover.core import Action
from rover.files.robot import Panel
from rover.guard.client import GuardClient
from rover.guard.protocol import Phase
from rover.session.guard_watch import GuardWatch
from rover.session.hardware import RunError
from rover.session.panel import OperatorPanel
from rover.session.terminal import Keys, Terminal


class OperatorControls:
    """Terminal and panel of a run. The guard latches, resets and resumes; the core follows by what the guard says.

    Attributes:
        terminal: the terminal, if there is one.
        panel: what the robot itself has.

    Raises:
        RunError: a pin of the panel cannot be had.
    """

    def __init__(self, panel: Panel, client: GuardClient) -> None:
        try:
            self.panel = OperatorPanel(panel)
        except OSError as error:
            raise RunError(f"panel: {error}") from error
        self.terminal = Terminal()
        self._client = client
        self._keys = Keys()
        self._is_held = False

    def __enter__(self) -> "OperatorControls":
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Leave the terminal as it was, and the panel dark."""
        self.terminal.close()
        self.panel.close()

    def actions(self, watch: GuardWatch) -> Sequence[Action]:
        """Ask the guard for what keys and button want, and return what the core has to be told itself."""
        words = self._keys.words(self.terminal.read())
        if self.panel.is_pressed():
            words += self._keys.words("g")  # like the key: it goes on only after a reset
        return [action for word in words if (action := self._act(word, watch)) is not None]

    def _act(self, word: str, watch: GuardWatch) -> Action | None:
        match word:
            case "stop":
                self._client.stop("stopped at the terminal")
                return Action("stop", "stopped at the terminal")
            case "hold":
                self._is_held = True
                return Action("hold")
            case "reset":
                self._client.reset()
                return None
            case "go on":
                return self._go_on(watch)
        return Action("answer", word)

    def _go_on(self, watch: GuardWatch) -> Action | None:
        was_held, self._is_held = self._is_held, False
        if watch.phase is Phase.RUNNING:
            return Action("resume") if was_held else None
        state = self._client.state
        if state is not None and state.permit_holder != self._client.session:
            self._client.enable()  # the guard took the permission away, for a silence that was too long
        self._client.resume()
        return None
