from pathlib import Path

import pytest

from rover.commands.emulate import emulated
from rover.files.problems import FileProblems

CONFIG = Path(__file__).parents[2] / "config"


def test_each_link_has_a_port_while_it_lasts():
    with emulated(CONFIG / "cart.yaml") as ports:
        assert list(ports) == ["main"]
        assert ports["main"].is_char_device()
    assert not ports["main"].exists()


def test_a_robot_without_links_has_nothing_to_emulate(tmp_path):
    text = (CONFIG / "cart.yaml").read_text("utf-8")
    path = tmp_path / "cart.yaml"
    path.write_text(
        text.replace("links:\n  main: {port: /dev/ttyUSB0, baud: 115200}\n", "").replace(
            "co_processor, link: main", "simulated"
        ),
        encoding="utf-8",
    )
    with pytest.raises(FileProblems, match="no 'links:'"), emulated(path):
        pass
