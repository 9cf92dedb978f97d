"""The fake stop input: plays what a test or a robot file wrote."""

from rover.devices.script import Played
from rover.devices.stop_input.values import StopInputValue


class StopInput(Played):
    """Entries [time, closed], closed being true or false."""

    VALUE = StopInputValue
