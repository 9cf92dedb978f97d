import sys

from rover.calibrate.findings import Plot, Series
from rover.calibrate.plots import draw

PANELS = (Plot("Residuals", "run", "mm", (Series("used", [1, 2], [0.1, -0.2]), Series("none", [], [])), square=True),)


def test_panels_become_a_picture(tmp_path):
    assert draw(PANELS, "drive", tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")


def test_without_the_library_there_is_no_picture(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)

    assert draw(PANELS, "drive", tmp_path / "a.png") is None
    assert list(tmp_path.iterdir()) == []
