"""A stop input that plays a script."""

from rover.devices.fakes import Scripted
from rover.devices.stop_input.values import StopInputValue


class StopInput(Scripted):
    """Entries [time, closed], closed being true or false."""

    VALUE = StopInputValue
