"""Keys at a real pseudo-terminal, and what they mean."""

import os
import pty
import termios

import pytest

from rover.session import jog_keys
from rover.session.terminal import KEYS, Terminal, words


@pytest.mark.parametrize(
    ("letters", "wanted"),
    [
        *((key, ["stop"]) for key in ("s", "S", " ", "\n", "\r")),
        ("H", ["hold"]),
        ("yn", ["yes", "no"]),
        ("x", []),
        ("rg", ["reset", "go on"]),
    ],
)
def test_letters_and_words(letters, wanted):
    assert words(letters) == wanted


def test_a_key_that_stops_a_run_stops_a_jog_and_the_other_way_round():
    stops = {key.decode() for key, meaning in jog_keys.KEYS.items() if meaning is jog_keys.Key.STOP}
    assert stops == {key for key, word in KEYS.items() if word == "stop"}


def test_what_is_no_terminal_is_never_read():
    near, far = os.pipe()
    os.write(far, b"yes\n")
    terminal = Terminal(near)
    assert not terminal.is_there
    assert terminal.read() == ""
    terminal.begin_keys()
    terminal.close()
    os.close(near)
    os.close(far)


def at_own_terminal():
    """In a child whose controlling terminal is a new pseudo-terminal: line, keys, and settings as before."""
    terminal = Terminal()
    before = termios.tcgetattr(0)
    os.write(1, b"ready\n")
    while not (line := terminal.read()):
        pass
    terminal.begin_keys()
    os.write(1, b"keys\n")
    while not (key := terminal.read()):
        pass
    terminal.close()
    same = termios.tcgetattr(0) == before
    os.write(1, f"line {line.strip()} key {key} restored {same}\n".encode())


def test_lines_first_then_single_keys_and_at_the_end_it_is_as_before():
    child, person = pty.fork()
    if child == 0:
        try:
            at_own_terminal()
        finally:
            os._exit(0)
    said = b""
    for due, typed in ((b"ready", b"yes\n"), (b"keys", b"s"), (b"restored", b"")):
        while due not in said:
            said += os.read(person, 1000)
        os.write(person, typed)
    os.waitpid(child, 0)
    os.close(person)
    assert b"line yes key s restored True" in said
