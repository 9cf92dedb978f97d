"""Signals that ask to end: real ones, to this process."""

import os
import signal

import pytest

from rover.session.interruption import Interruption


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_the_first_is_noted_and_the_second_ends_at_once(number, code):
    with Interruption() as interruption:
        assert interruption.exit_code is None
        os.kill(os.getpid(), number)
        assert interruption.exit_code == code
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)
        assert interruption.exit_code == code


def test_afterwards_signals_are_as_before():
    before = signal.getsignal(signal.SIGTERM)
    with Interruption():
        assert signal.getsignal(signal.SIGTERM) is not before
    assert signal.getsignal(signal.SIGTERM) is before
