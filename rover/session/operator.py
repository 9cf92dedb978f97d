"""The operator's control of a run: terminal, panel (button, light, buzzer) and page; requests to guard and core."""

from collections.abc import Sequence
from typing import Any

from rover.core import Action
from rover.devices.panel.indicator import Indication, Indicator
from rover.devices.panel.keys import PanelKeys
from rover.devices.panel.start_button import StartButton
from rover.guard.client import GuardClient
from rover.session.hardware import RunError
from rover.session.terminal import STALE_NS, Terminal, words
from rover.session.watched import NoPage, Page, Wish

STOPPED_HERE = "stopped at the terminal"
TERMINAL_LOST = "the terminal has gone away, and nobody could press a key any more"
HELD = "at the terminal; g goes on"
AT_THE_TERMINAL = ""


def indication_of(*, stopped: bool, fault: bool, held_back: bool, waiting: bool, moving: bool) -> Indication:
    """Return what the indicator shows: of what is so, the most urgent."""
    if stopped:
        return Indication.STOPPED
    if fault:
        return Indication.FAULT
    if held_back:
        return Indication.HELD_BACK
    if waiting:
        return Indication.WAITING
    return Indication.MOVING if moving else Indication.STANDING


class OperatorPanel:
    """Button and indicator; each may be missing.

    Raises:
        DeviceError: a pin cannot be had.
    """

    def __init__(self, panel: PanelKeys) -> None:
        self._button: Any = None
        self._indicator: Any = None
        if panel.start_button is not None:
            self._button = StartButton(panel.gpio, panel.start_button)
        try:
            if panel.light is not None or panel.buzzer is not None:
                self._indicator = Indicator(panel.gpio, panel.light, panel.buzzer)
        except OSError:
            self.close()
            raise

    def is_pressed(self) -> bool:
        """Tell whether the start button was pressed since the last call."""
        return self._button is not None and bool(self._button.presses())

    def show(self, indication: Indication, now_ns: int) -> None:
        """Show how things stand, where there is a light or a buzzer."""
        if self._indicator is not None:
            self._indicator.show(indication, now_ns)

    def close(self) -> None:
        """Go dark and let go of the pins; a second call does nothing."""
        button, indicator, self._button, self._indicator = self._button, self._indicator, None, None
        for part in (indicator, button):
            if part is not None:
                part.close()


class OperatorControls:
    """Terminal, panel and page of a run. The guard latches, resets and resumes; the core follows what the guard says.

    Attributes:
        terminal: the terminal, if there is one.
        panel: what the robot itself has.
        page: on which people elsewhere watch, if there is one.

    Raises:
        RunError: a pin of the panel cannot be had.
    """

    def __init__(self, panel: PanelKeys, client: GuardClient, page: Page | None = None) -> None:
        try:
            self.panel = OperatorPanel(panel)
        except OSError as error:
            raise RunError(f"panel: {error}") from error
        self.terminal = Terminal()
        self._client = client
        self.page = page or NoPage()
        self._looked_ns = 0
        self._knows_terminal_lost = False

    def close(self) -> None:
        """Leave the terminal as it was, and the panel dark."""
        self.terminal.close()
        self.panel.close()

    def actions(self, now_ns: int) -> Sequence[Action]:
        """Ask the guard for what keys, button and page want, and return what the core has to be told itself."""
        is_stale, self._looked_ns = now_ns - self._looked_ns > STALE_NS, now_ns
        wanted = [Wish(word, AT_THE_TERMINAL) for word in words(self.terminal.read())]
        wanted += self.page.wishes()
        if self.panel.is_pressed():
            wanted.append(Wish("go on", AT_THE_TERMINAL))  # as the key: after a stop only once that has been reset
        if self.terminal.is_lost and not self._knows_terminal_lost:
            self._knows_terminal_lost = True
            return [self._stop(TERMINAL_LOST)]
        counts = [wish for wish in wanted if wish.word in ("stop", "hold") or not is_stale]
        return [action for wish in counts if (action := self._act(wish)) is not None]

    def enablings(self) -> list[Wish]:
        """Return who enables motion at the page, in a run that waits for that; others' stops are passed on."""
        wishes = self.page.wishes()
        for wish in wishes:
            if wish.word == "stop":
                self._act(wish)
        return [wish for wish in wishes if wish.word == "enable"]

    def _act(self, wish: Wish) -> Action | None:
        match wish.word:
            case "stop":
                return self._stop(_cause(wish, STOPPED_HERE, "stopped"))
            case "hold":
                cause = _cause(wish, HELD, "held")
                self._client.hold(cause)
                return Action("hold", cause)
            case "reset":
                self._client.reset()
                return None
            case "go on" | "enable":
                self._client.go_on()
                return None
        return Action("answer", wish.word)

    def _stop(self, cause: str) -> Action:
        self._client.stop(cause)
        return Action("stop", cause)


def _cause(wish: Wish, at_terminal: str, done: str) -> str:
    return f"{done} at the page by {wish.whose}" if wish.whose else at_terminal
