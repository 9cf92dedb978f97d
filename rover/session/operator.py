"""The operator's control of a run: terminal and panel (start button, light, buzzer), requests to guard and core."""

from collections.abc import Sequence
from typing import Any

from rover.core import Action
from rover.devices.panel.indicator import Indication, Indicator
from rover.devices.panel.keys import PanelKeys
from rover.devices.panel.start_button import StartButton
from rover.guard.client import GuardClient
from rover.guard.protocol import Phase
from rover.session.guard_watch import GuardWatch
from rover.session.hardware import RunError
from rover.session.terminal import Keys, Terminal


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
        self._keys = Keys()
        self._is_held = False

    def close(self) -> None:
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
