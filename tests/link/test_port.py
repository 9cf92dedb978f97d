import fcntl
import os
import termios
import tty

import pytest

from rover.link.framing import Damage
from rover.link.port import PortError, SerialPort, open_serial


class Wire:
    """A real pseudo-terminal under a lasting name; the test holds the device's end."""

    def __init__(self, path):
        self.path = path
        self.plug_in()

    def plug_in(self):
        self.device, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self.device, False)
        self.path.symlink_to(os.ttyname(self._far))

    def unplug(self):
        self.path.unlink()
        os.close(self.device)
        os.close(self._far)


@pytest.fixture
def wire(tmp_path):
    wire = Wire(tmp_path / "port")
    yield wire
    wire.unplug()


@pytest.fixture
def port(wire, now_ns):
    port = SerialPort(str(wire.path), 115200, now_ns)
    yield port
    port.close()


def test_lines_are_handed_over_with_the_time_of_their_arrival(wire, port, now_ns, eventually):
    lines = []
    port.subscribe(lambda line, received_ns: lines.append((line, received_ns)))
    before_ns = now_ns()
    os.write(wire.device, b"noise$ONE\r\n$TW")
    os.write(wire.device, b"O\r\n")

    eventually(lambda: len(lines) == 2)

    assert [line for line, _ in lines] == [b"$ONE", b"$TWO"]
    assert before_ns <= lines[0][1] <= lines[1][1] <= now_ns()
    assert port.counts.bytes_in == 17
    assert port.counts.lines == 2
    assert port.damage == {Damage.GARBAGE: 5}


def test_an_unplugged_port_comes_back_by_itself(wire, port, eventually):
    lines = []
    port.subscribe(lambda line, _: lines.append(line))
    wire.unplug()
    eventually(lambda: port.counts.failed_openings >= 2)

    wire.plug_in()
    eventually(lambda: port.counts.opened == 2)
    os.write(wire.device, b"$BACK\r\n")
    eventually(lambda: lines)

    assert lines == [b"$BACK"]
    assert port.counts.lost == 1


def test_a_subscriber_that_fails_stops_neither_the_port_nor_the_others(wire, port, eventually, caplog):
    lines = []

    def fails(line, received_ns):
        raise RuntimeError("no")

    port.subscribe(fails)
    port.subscribe(lambda line, _: lines.append(line))
    os.write(wire.device, b"$A\r\n$B\r\n")

    eventually(lambda: lines == [b"$A", b"$B"])

    assert port.counts.subscriber_errors == 2
    assert "a subscriber failed on b'$A'" in caplog.text


def test_closing_twice_is_once(port):
    port.close()
    port.close()

    assert not port.is_open


def test_a_missing_port_is_told_in_one_line(tmp_path):
    with pytest.raises(PortError, match=r"^no such port: \S+/none; plug the device in, or correct 'port:' .*$"):
        SerialPort(str(tmp_path / "none"), 115200)


def test_a_busy_port_is_told_in_one_line(wire, port):
    with pytest.raises(PortError, match=r"^port \S+ is busy: another program has it open; close that one first$"):
        open_serial(str(wire.path), 115200)


def test_a_file_is_not_a_port(tmp_path):
    (tmp_path / "file").write_text("")

    with pytest.raises(PortError, match=r"cannot use .* as a serial port at 115200 baud"):
        open_serial(str(tmp_path / "file"), 115200)


def test_a_forbidden_port_names_the_group_to_join(tmp_path, monkeypatch):
    # Root may open anything, so the refusal has to come from the call itself.
    path = tmp_path / "port"
    path.write_text("")

    def refuse(*arguments):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(os, "open", refuse)

    with pytest.raises(PortError, match=r"^permission denied for .*: sudo usermod -aG \S+ \$USER, then log in again$"):
        open_serial(str(path), 115200)


def test_opening_leaves_dtr_alone_and_closing_makes_no_edge(wire, monkeypatch):
    requests = []
    real = fcntl.ioctl
    monkeypatch.setattr(
        fcntl, "ioctl", lambda fd, request, *rest: requests.append((request, rest)) or real(fd, request, *rest)
    )

    settings = termios.tcgetattr(wire._far)
    settings[2] |= termios.HUPCL
    termios.tcsetattr(wire._far, termios.TCSANOW, settings)

    port = open_serial(str(wire.path), 115200)
    hang_up_on_close = termios.tcgetattr(port.fileno())[2] & termios.HUPCL
    port.close()

    dtr = termios.TIOCM_DTR.to_bytes(4, "little")
    changes = (termios.TIOCMBIS, termios.TIOCMBIC, termios.TIOCMSET)
    assert not [rest for request, rest in requests if request in changes and rest[0] == dtr]
    assert not hang_up_on_close
