"""The keys of the panel in the robot file."""

from rover.devices.keys import Pin
from rover.files.types import Model, Text


class PanelKeys(Model):
    """What the operator finds on the robot itself, by the pins of a GPIO chip."""

    gpio: Text = "/dev/gpiochip0"
    start_button: Pin | None = None
    light: Pin | None = None
    buzzer: Pin | None = None
