"""Quadrature counts: the table, lost edges, and the driver at a board's lines."""

from contextlib import closing

from hypothesis import given
from hypothesis import strategies as st

from rover.devices.counts.encoder_pins import Counts, Quadrature
from rover.devices.counts.keys import EncoderPinsKeys
from rover.devices.readings import WheelCounts

FORWARDS = ((True, False), (True, True), (False, True), (False, False))
OPTIONS = EncoderPinsKeys(left={"a": 5, "b": 6}, right={"a": 7, "b": 8}).options


def test_a_leading_b_counts_up_four_to_a_line():
    encoder = Quadrature(False, False)
    for is_a, rising in ((True, True), (False, True), (True, False), (False, False)):
        encoder.see(is_a, rising)
    assert (encoder.count, encoder.errors) == (4, 0)


@given(st.lists(st.sampled_from([-1, 1]), max_size=200))
def test_the_count_is_the_way_turned_whatever_the_turning(turns):
    encoder, at = Quadrature(False, False), 0
    for turn in turns:
        before, after = FORWARDS[(at - 1) % 4], FORWARDS[(at + turn - 1) % 4]
        at += turn
        is_a = before[0] != after[0]
        encoder.see(is_a, after[0] if is_a else after[1])
    assert (encoder.count, encoder.errors) == (at, 0)


def test_an_edge_to_the_level_it_had_is_an_error():
    encoder = Quadrature(False, False)
    encoder.see(True, True)
    encoder.see(True, True)
    assert (encoder.count, encoder.errors) == (1, 1)


def turn(board, pins, steps):
    for step in range(abs(steps)):
        levels = FORWARDS[step % 4] if steps > 0 else FORWARDS[(2 - step) % 4]
        for pin, level in zip(pins, levels, strict=True):
            if board.level[pin] != level:
                board.edge(pin, level, step)


def test_the_driver_counts_both_sides_from_the_levels_it_found(board):
    with closing(Counts(OPTIONS)) as counts:
        turn(board, (5, 6), 10)
        turn(board, (7, 8), -7)
        (reading,) = counts.poll(1_000)
        assert reading.value == WheelCounts(10, -7)
        assert reading.taken_ns == 1_000
        assert (counts.errors, counts.lost) == (0, 0)
        assert counts.poll(2_000)[0].sequence == reading.sequence + 1


def test_wiring_is_put_right_by_the_robot_file(board):
    with closing(Counts(OPTIONS | {"swap_sides": True, "reverse_left": True})) as counts:
        turn(board, (5, 6), 10)
        turn(board, (7, 8), 3)
        assert counts.poll(0)[0].value == WheelCounts(-3, 10)


def test_edges_that_the_kernel_dropped_are_counted(board):
    with closing(Counts(OPTIONS)) as counts:
        turn(board, (5, 6), 9)
        del board.events[3:6]
        counts.poll(0)
        assert counts.lost == 3
