"""The panel on the robot itself: start button, light, buzzer, as far as the robot file has them."""

from typing import Any, NamedTuple

from rover.devices.indicator import Indicator, Mood
from rover.devices.start_button import StartButton
from rover.files.robot import Panel


class PanelStatus(NamedTuple):
    """What the indicator tells: each of them may be true, the most urgent is shown."""

    stopped: bool
    fault: bool
    held_back: bool
    waiting: bool
    moving: bool


def mood_of(status: PanelStatus) -> Mood:
    """Return what the indicator shows."""
    moods = (Mood.STOPPED, Mood.FAULT, Mood.HELD_BACK, Mood.WAITING, Mood.MOVING)
    return next((mood for mood, is_so in zip(moods, status, strict=True) if is_so), Mood.STANDING)


class OperatorPanel:
    """Button and indicator; each may be missing.

    Raises:
        DeviceError: a pin cannot be had.
    """

    def __init__(self, panel: Panel) -> None:
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

    def show(self, status: PanelStatus, now_ns: int) -> None:
        """Show the most urgent."""
        if self._indicator is not None:
            self._indicator.show(mood_of(status), now_ns)

    def close(self) -> None:
        """Go dark and let go of the pins; a second call does nothing."""
        button, indicator, self._button, self._indicator = self._button, self._indicator, None, None
        for part in (indicator, button):
            if part is not None:
                part.close()
