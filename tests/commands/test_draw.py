"""`rover draw`."""

from pathlib import Path
from xml.etree import ElementTree

CONFIG = Path(__file__).parents[2] / "config"


def test_a_behaviour_that_an_errand_names_is_drawn(rover):
    code, out, _ = rover("draw", CONFIG / "greenhouse.yaml")
    assert (code, out) == (0, "picture: greenhouse.svg\n")
    assert "Bring every object to the tray" in ElementTree.parse("greenhouse.svg").getroot().attrib["aria-label"]


def test_one_that_comes_with_rover_is_known_by_its_name(rover, tmp_path):
    assert rover("draw", "patrol", "--into", tmp_path / "there.svg")[:2] == (0, f"picture: {tmp_path}/there.svg\n")


def test_mermaid_is_printed_or_written(rover, tmp_path):
    code, out, _ = rover("draw", "roam", "--as", "mermaid")
    assert code == 0
    assert out.startswith("stateDiagram-v2\n    ")
    rover("draw", "roam", "--as", "mermaid", "--into", "roam.mmd")
    assert Path("roam.mmd").read_text("utf-8") == out


def test_mistakes_are_told_and_nothing_is_drawn(rover, tmp_path):
    (tmp_path / "b.yaml").write_text(
        "behaviour: B\nstart: a\nstates:\n  a: {does: stand_stil, exits: [{after: 1 s, go: b}]}\n"
    )
    code, _, err = rover("draw", "b.yaml")
    assert code == 2
    assert "did you mean 'stand_still'" in err
    assert not Path("b.svg").exists()


def test_a_robot_file_has_no_behaviour(rover):
    code, _, err = rover("draw", CONFIG / "cart.yaml")
    assert code == 2
    assert "this is a robot file, but a behaviour file is due here" in err


def test_a_picture_that_cannot_be_written(rover):
    code, _, err = rover("draw", "roam", "--into", "/no/such/folder.svg")
    assert (code, err) == (2, "/no/such/folder.svg: No such file or directory\n")
