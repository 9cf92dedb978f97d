"""The emulator's line; `test_link` has the emulator at work behind it."""

from rover.link.emulator import transmit


def test_an_idle_line_saves_no_time_up_for_a_burst():
    assert transmit(bytearray(), 1000.0) == (b"", 0.999)


def test_a_busy_line_carries_whole_bytes_and_keeps_the_rest_of_the_time():
    queue = bytearray(b"0123456789")

    assert transmit(queue, 4.25) == (b"0123", 0.25)
    assert queue == b"456789"
