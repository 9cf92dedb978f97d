"""The operator's control of a run: terminal and panel (start button, light, buzzer), requests to guard and core."""

from collections.abc import Sequence
from typing import Any

from rover.core import Action
from rover.devices.panel.indicator import Indication, Indicator
from rover.devices.panel.keys import PanelKeys
from rover.devices.panel.start_button import StartButton
from rover.guard.client import GuardClient
from rover.session.hardware import RunError
from rover.session.terminal import STALE_NS, Terminal, words

STOPPED_HERE = "stopped at the terminal"
TERMINAL_LOST = "the terminal has gone away, and nobody could press a key any more"
HELD = "at the terminal; g goes on"


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
    """Terminal and panel of a run. The guard latches, resets and resumes; the core follows by what the guard says.

    Attributes:
        terminal: the terminal, if there is one.
        panel: what the robot itself has.

    Raises:
        RunError: a pin of the panel cannot be had.
    """

    def __init__(self, panel: PanelKeys, client: GuardClient) -> None:
        try:
            self.panel = OperatorPanel(panel)
        except OSError as error:
            raise RunError(f"panel: {error}") from error
        self.terminal = Terminal()
        self._client = client
        self._looked_ns = 0
        self._knows_terminal_lost = False

    def close(self) -> None:
        """Leave the terminal as it was, and the panel dark."""
        self.terminal.close()
        self.panel.close()

    def actions(self, now_ns: int) -> Sequence[Action]:
        """Ask the guard for what keys and button want, and return what the core has to be told itself."""
        is_stale, self._looked_ns = now_ns - self._looked_ns > STALE_NS, now_ns
        wanted = words(self.terminal.read())
        if self.panel.is_pressed():
            wanted.append("go on")  # as the key: after a stop it counts only once that has been reset
        if self.terminal.is_lost and not self._knows_terminal_lost:
            self._knows_terminal_lost = True
            return [self._stop(TERMINAL_LOST)]
        counts = [word for word in wanted if word in ("stop", "hold") or not is_stale]
        return [action for word in counts if (action := self._act(word)) is not None]

    def _act(self, word: str) -> Action | None:
        match word:
            case "stop":
                return self._stop(STOPPED_HERE)
            case "hold":
                self._client.hold(HELD)
                return Action("hold", HELD)
            case "reset":
                self._client.reset()
                return None
            case "go on":
                self._client.go_on()
                return None
        return Action("answer", word)

    def _stop(self, cause: str) -> Action:
        self._client.stop(cause)
        return Action("stop", cause)
