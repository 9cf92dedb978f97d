"""The judge on a serial line: a co-processor that imports nothing of the project, and notes what its wheels are told.

``python peer.py FOLDER [--no-deadline] [--revision 1]`` opens a pseudo-terminal under the name ``FOLDER/main`` and
answers there as a board's firmware does (tools/coprocessor/README.md). It writes a line into ``FOLDER/applied`` at each
change: monotonic time (ns), duty of left and right (per mille), servo pulse (us; 0: limp).

It takes words on standard input, and answers each with the monotonic time (ns) at which it did it:

    silent, garbage, speak    what goes up: nothing, noise, sentences; what comes down is obeyed all the while
    stall N, go               read no more, but for N bytes that an adapter still takes and nobody can recall; read on
    unplug, plug              take the line away, bring it back under the same name
    reboot MS                 a new boot number, all else at zero; deaf and mute for so long
"""

import argparse
import contextlib
import itertools
import os
import random
import select
import sys
import time
import tty
from pathlib import Path

from peer_sentences import U16, Command, command_in, crc_of, sentence, xor_of

LONGEST_SENTENCE = 80
MOTORS_MS, SERVO_MS, AHEAD_MS = 250, 10_000, 1000
ACCEPTED, STALE, INVALID, EXPIRED, OTHER_SESSION, LAPSED = range(6)
U32 = 0xFFFF_FFFF
TOP_SPEED, TRACK, COUNTS_A_METRE = 0.25, 0.24, 1320 / (3.14159265 * 0.072)
RATES_HZ = {"H": 20, "C": 50, "B": 2, "I": 1, "A": 20}
MS, S = 1_000_000, 1_000_000_000
CHUNK = 4096
PASSED_NUMBERS = 64


class Applied:
    """The judge's book: what wheels and jaws are told, each change with its time, flushed at once."""

    def __init__(self, path: Path) -> None:
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
        self._last: tuple[int, int, int] | None = None

    def note(self, now_ns: int, left: int, right: int, pulse_us: int) -> None:
        """Write a line, if anything has changed."""
        if (left, right, pulse_us) != self._last:
            self._last = (left, right, pulse_us)
            os.write(self._file, b"%d %d %d %d\n" % (now_ns, left, right, pulse_us))


class Board:
    """The firmware: which commands are obeyed, when they end, and what is reported."""

    def __init__(self, book: Applied, has_deadline: bool, revision: int, now_ns: int) -> None:
        self._book, self._has_deadline, self._revision, self._boot = book, has_deadline, revision, 0
        self._deaf_until_ns = 0
        self.reboot(now_ns, 0)

    def reboot(self, now_ns: int, deaf_ms: int) -> None:
        """Start anew, everything off."""
        self._boot = self._boot + 1 & U16
        self._booted_ns = self._moved_ns = now_ns
        self._deaf_until_ns = now_ns + deaf_ms * MS
        self._received = b""
        self._session: int | None = None
        self._last: dict[str, int] = {}
        self._until_ns: dict[str, int] = {}
        self._answers: dict[str, tuple[int, int]] = {}
        self._duty, self._pulse_us = (0, 0), 0
        self._metres, self._heading_deg = [0.0, 0.0], 0.0
        self._due_ns = dict.fromkeys(RATES_HZ, now_ns)
        self._numbers = {letter: itertools.count() for letter in RATES_HZ}
        self._book.note(now_ns, *self._duty, self._pulse_us)

    def take(self, received: bytes, now_ns: int) -> None:
        """Take bytes from the line."""
        if now_ns < self._deaf_until_ns:
            return
        *lines, self._received = (self._received + received).replace(b"\n", b"\r").split(b"\r")
        self._received = self._received[-LONGEST_SENTENCE:]
        for line in lines:
            start = line.rfind(b"$")
            command = command_in(line[start:]) if start >= 0 and len(line) - start <= LONGEST_SENTENCE else None
            # A board of before does not know a command with a field more.
            if command is not None and (command.until_ms is None or self._revision > 1):
                self._obey(command, now_ns)

    def _obey(self, command: Command, now_ns: int) -> None:
        verdict = self._judge(command, now_ns)
        self._answers[command.letter] = (command.sequence, verdict)
        if verdict != ACCEPTED:
            return
        if command.session != self._session:
            self._session, self._last = command.session, {}
        self._last[command.letter] = command.sequence
        if command.letter == "M":
            self._roll(now_ns)
            left, right = command.values
            self._duty = (left, right)
            lasts_ms = min(command.lasts_ms, MOTORS_MS, self._left_ms(command, now_ns))
            self._until_ns["M"] = now_ns + lasts_ms * MS
        else:
            self._pulse_us = command.values[0]
            self._until_ns["S"] = now_ns + SERVO_MS * MS
        self._book.note(now_ns, *self._duty, self._pulse_us)

    def _left_ms(self, command: Command, now_ns: int) -> int:
        """Return how long a command may still be obeyed by the board's own milliseconds."""
        if command.until_ms is None:
            return MOTORS_MS
        left_ms = command.until_ms - self._now_ms(now_ns) & U32
        return left_ms if left_ms <= AHEAD_MS else 0

    def _now_ms(self, now_ns: int) -> int:
        return (now_ns - self._booted_ns) // MS & U32

    def _judge(self, command: Command, now_ns: int) -> int:
        if command.letter == "M":
            is_sound = all(abs(duty) <= 1000 for duty in command.values)
        else:
            is_sound = command.values[0] == 0 or 500 <= command.values[0] <= 2500
        if not is_sound:
            return INVALID
        if command.lasts_ms <= 0 or self._left_ms(command, now_ns) <= 0:
            return EXPIRED
        if command.session != self._session:
            stops = command.letter == "M" and command.values == (0, 0)
            return ACCEPTED if stops or self._duty == (0, 0) else OTHER_SESSION
        last = self._last.get(command.letter)
        is_newer = last is None or 0 < (command.sequence - last & U32) < 1 << 31
        return ACCEPTED if is_newer else STALE

    def _enforce(self, now_ns: int) -> None:
        """End what has run out, at the time at which it did: being late here is no fault of the one who is judged."""
        ends_ns = self._until_ns.get("M", now_ns + 1)
        if self._has_deadline and now_ns >= ends_ns:
            del self._until_ns["M"]
            self._roll(ends_ns)
            self._duty = (0, 0)
            self._answers["M"] = (self._last.get("M", 0), LAPSED)
            self._book.note(ends_ns, *self._duty, self._pulse_us)
        if self._has_deadline and now_ns >= self._until_ns.get("S", now_ns + 1):
            self._pulse_us = 0
            self._book.note(self._until_ns.pop("S"), *self._duty, self._pulse_us)

    def _roll(self, now_ns: int) -> None:
        """Let the wheels turn, and the robot with them, as far as the duty takes them by now."""
        seconds, self._moved_ns = (now_ns - self._moved_ns) / S, now_ns
        left, right = (duty / 1000 * TOP_SPEED for duty in self._duty)
        self._metres = [self._metres[0] + left * seconds, self._metres[1] + right * seconds]
        self._heading_deg = (self._heading_deg - (right - left) / TRACK * seconds * 57.29578) % 360.0

    def work(self, now_ns: int) -> bytes:
        """Do what is due, and return what goes up."""
        self._enforce(now_ns)
        if now_ns < self._deaf_until_ns:
            return b""
        self._roll(now_ns)
        return b"".join(self._report(letter, now_ns) for letter in RATES_HZ if self._is_due(letter, now_ns))

    def _is_due(self, letter: str, now_ns: int) -> bool:
        if now_ns < self._due_ns[letter] or (letter == "A" and not self._answers):
            return False
        self._due_ns[letter] = max(self._due_ns[letter] + S // RATES_HZ[letter], now_ns)
        return True

    def _report(self, letter: str, now_ns: int) -> bytes:
        stamp = (next(self._numbers[letter]) & U16, self._now_ms(now_ns), self._boot)
        match letter:
            case "H":
                rate = -(self._duty[1] - self._duty[0]) / 1000 * TOP_SPEED / TRACK * 5729.578
                return sentence("H", *stamp, round(self._heading_deg * 100) % 36000, round(rate), 3)
            case "C":
                return sentence("C", *stamp, *(round(metres * COUNTS_A_METRE) for metres in self._metres))
            case "B":
                return sentence("B", *stamp, 12300, 300)
            case "I":
                return sentence("I", *stamp, 1000, "peer", *([self._revision] if self._revision > 1 else []))
        of = next(iter(self._answers))
        return sentence("A", *stamp, of, *self._answers.pop(of), *self._duty)

    def patience_ns(self, now_ns: int) -> int:
        """Return how long there is nothing to do."""
        due_ns = [due_ns for letter, due_ns in self._due_ns.items() if letter != "A" or self._answers]
        ends_ns = self._until_ns.values() if self._has_deadline else ()
        return max(MS // 2, min([*due_ns, *ends_ns]) - now_ns)


def fresh_terminal() -> tuple[int, int]:
    """Open a pseudo-terminal whose number was not in use a moment ago: what was lost there may still be looked for."""
    passed = [os.openpty()]
    while int(os.ttyname(passed[-1][1]).rpartition("/")[2]) < PASSED_NUMBERS:
        passed.append(os.openpty())
    near, far = passed.pop()
    for end in itertools.chain(*passed):
        os.close(end)
    return near, far


class Line:
    """The pseudo-terminal, and what can go wrong on it."""

    def __init__(self, path: Path) -> None:
        self.says = "speak"
        self._path, self._noise = path, random.Random(7)
        self._near = self._far = -1
        self._adapter = b""
        self._room: int | None = None
        self.plug()

    def plug(self) -> None:
        """Bring the line, under its lasting name."""
        self._near, self._far = fresh_terminal()
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        new = self._path.with_name("new")
        new.unlink(missing_ok=True)
        new.symlink_to(os.ttyname(self._far))
        new.replace(self._path)

    def unplug(self) -> None:
        """Take it away."""
        self._path.unlink(missing_ok=True)
        for end in (self._near, self._far):
            os.close(end)
        self._near = self._far = -1
        self._adapter, self._room = b"", None

    def stall(self, room: int) -> None:
        """Read no more than so many bytes, and keep those."""
        self._room = room

    def go_on(self) -> None:
        """Read again; what has been kept comes first."""
        self._room = None

    def wait(self, patience_ns: int) -> bool:
        """Wait for bytes or a word, or for a time; tell whether there is a word."""
        watched = [0] if self._near < 0 or self._room == 0 else [0, self._near]
        return 0 in select.select(watched, [], [], patience_ns / S)[0]

    def read(self) -> bytes:
        """Return what gets through."""
        if self._near < 0:
            return b""
        came, most = b"", CHUNK if self._room is None else self._room
        with contextlib.suppress(BlockingIOError, OSError):
            came = os.read(self._near, most) if most else b""
        self._adapter += came
        if self._room is not None:
            self._room -= len(came)
            return b""
        received, self._adapter = self._adapter, b""
        return received

    def write(self, reports: bytes) -> None:
        """Send reports, or what stands for them; what nobody reads is lost."""
        if self.says == "silent" or self._near < 0:
            return
        noise = self._noise.randbytes(len(reports))
        with contextlib.suppress(BlockingIOError, OSError):
            os.write(self._near, noise if self.says == "garbage" else reports)


def serve_line(folder: Path, has_deadline: bool, revision: int) -> None:
    """Be a co-processor until standard input ends."""
    board = Board(Applied(folder / "applied"), has_deadline, revision, time.monotonic_ns())
    line = Line(folder / "main")
    print(time.monotonic_ns(), flush=True)
    while True:
        has_word = line.wait(board.patience_ns(time.monotonic_ns()))
        board.take(line.read(), time.monotonic_ns())
        if has_word:
            words = sys.stdin.readline().split()
            if not words:
                return
            do(words, board, line)
            print(time.monotonic_ns(), flush=True)
        line.write(board.work(time.monotonic_ns()))


def do(words: list[str], board: Board, line: Line) -> None:
    """Carry a word out."""
    match words:
        case ["silent" | "garbage" | "speak"]:
            line.says = words[0]
        case ["stall", room]:
            line.stall(int(room))
        case ["go"]:
            line.go_on()
        case ["unplug"]:
            line.unplug()
        case ["plug"]:
            line.plug()
        case ["reboot", milliseconds]:
            board.reboot(time.monotonic_ns(), int(milliseconds))
        case _:
            raise ValueError(f"not a word of the peer's: {words}")


def be_on_time() -> None:
    """Go before ordinary processes where the system lets us: a board is never late because the computer is busy."""
    with contextlib.suppress(PermissionError):
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(2))


def main() -> None:
    """Be a co-processor."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--no-deadline", action="store_true", help="the board has no deadlines of its own")
    parser.add_argument("--revision", type=int, default=2, help="of the sentences; 1: commands bear no board's time")
    chosen = parser.parse_args()
    # The published check value of the CRC, and a sentence from the standard's users.
    assert crc_of(b"123456789") == 0x29B1
    assert xor_of(b"GPGLL,5300.97914,N,00259.98174,E,125926,A") == 0x28
    be_on_time()
    serve_line(chosen.folder, not chosen.no_deadline, chosen.revision)


if __name__ == "__main__":
    main()
