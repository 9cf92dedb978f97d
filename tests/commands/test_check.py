from pathlib import Path

import pytest

CONFIG = Path(__file__).parents[2] / "config"


@pytest.mark.parametrize("name", ["greenhouse", "rectangle", "roam", "patrol", "cart", "bay", "steel"])
def test_the_files_of_the_project_are_right(rover, name):
    code, out, err = rover("check", CONFIG / f"{name}.yaml")
    assert code == 0, err
    assert out


def test_this_computer(rover):
    code, out, _ = rover("check")
    assert code == 0
    assert out.startswith("rover")
