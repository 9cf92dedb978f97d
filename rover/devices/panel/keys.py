"""The keys of the panel in the robot file."""

from rover.devices.keys import OnPins, Pin


class PanelKeys(OnPins):
    """What the operator finds on the robot itself, by the pins of a GPIO chip."""

    start_button: Pin | None = None
    """To ground, normally open."""
    light: Pin | None = None
    """Tells by its rhythm what the robot is about."""
    buzzer: Pin | None = None
    """Sounds when the light's rhythm changes to one that asks for a person."""
