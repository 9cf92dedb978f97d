import os
import select
import signal
import subprocess
import sys
import tty
from pathlib import Path

from rover.commands.emulate import emulated

CONFIG = Path(__file__).parents[2] / "config"
COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
TIME_LIMIT_S = 30


def test_each_link_has_a_port_while_it_lasts():
    with emulated(CONFIG / "cart.yaml") as ports:
        assert list(ports) == ["main"]
        assert ports["main"].is_char_device()
    assert not ports["main"].exists()


def test_the_emulator_speaks_on_the_port_that_it_names(tmp_path):
    process = subprocess.Popen(
        [*COMMAND, "emulate", str(CONFIG / "cart.yaml")],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    with process:
        port = process.stdout.readline().removeprefix("link 'main': ").strip()
        heard = first_bytes(port, 40)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=TIME_LIMIT_S)
    assert b"$PXFR" in heard
    assert process.returncode == 130
    assert "Traceback" not in err
    assert not Path(port).exists()


def first_bytes(port, count):
    descriptor = os.open(port, os.O_RDWR | os.O_NOCTTY)
    try:
        tty.setraw(descriptor)
        heard = b""
        while len(heard) < count and select.select([descriptor], [], [], TIME_LIMIT_S)[0]:
            heard += os.read(descriptor, 4096)
        return heard
    finally:
        os.close(descriptor)


def test_emulating_a_robot_without_links(rover, tmp_path):
    text = (CONFIG / "cart.yaml").read_text("utf-8")
    (tmp_path / "cart.yaml").write_text(
        text.replace("links:\n  main: {port: /dev/ttyUSB0, baud: 115200}\n", "").replace(
            "co_processor, link: main", "simulated"
        ),
        encoding="utf-8",
    )
    code, _, err = rover("emulate", "cart.yaml")
    assert code == 2
    assert "no 'links:'" in err
