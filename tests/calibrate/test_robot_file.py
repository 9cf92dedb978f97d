import difflib
import shutil
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.calibrate.findings import CalibrationError, ValueChange
from rover.calibrate.robot_file import changed_text, write
from rover.files import load
from rover.files.problems import FileProblems

CART = Path(__file__).parents[2] / "config" / "cart.yaml"
CHANGES = (
    ValueChange(("body", "wheel_diameter"), "72 mm", "70.29 mm"),
    ValueChange(("devices", "counts", "left_scale"), "1", "0.9936"),
    ValueChange(("devices", "heading", "sigma"), "2 deg", "0.97 deg"),
)
ODD = """\
# made by hand
robot:   "Cart"
body: {wheel_diameter: 72 mm,   track: 240 mm,
       counts_per_rev: 1320, gripper_reach: 16 cm }   # all measured
devices:
    drive: {driver: simulated}
    counts:              # encoders
        driver: simulated  # fed by the bench
        rate:   50 Hz
    # the sensor sits on a mast
    heading:
        driver: simulated
        sigma: '2 deg'   # as its maker says
"""


def difference(before, after):
    """Return the lines taken away and those added."""
    lines = list(difflib.unified_diff(before.splitlines(), after.splitlines(), n=0, lineterm=""))[2:]
    return [line[1:] for line in lines if line[0] == "-"], [line[1:] for line in lines if line[0] == "+"]


def test_only_the_lines_concerned_change_in_the_cart_of_the_demo():
    before = CART.read_text("utf-8")
    gone, new = difference(before, changed_text(before, CHANGES))

    assert len(gone) == len(new) == 3
    assert [line.split(":")[0].strip() for line in new] == ["wheel_diameter", "counts", "heading"]
    assert new[1] == gone[1].replace("}", ", left_scale: 0.9936}")


def test_brackets_indents_blanks_quotes_and_comments_stay_in_a_file_of_another_hand():
    assert difference(ODD, changed_text(ODD, CHANGES)) == (
        ["body: {wheel_diameter: 72 mm,   track: 240 mm,", "        sigma: '2 deg'   # as its maker says"],
        [
            "body: {wheel_diameter: 70.29 mm,   track: 240 mm,",
            "        left_scale: 0.9936",
            "        sigma: 0.97 deg   # as its maker says",
        ],
    )


def test_a_new_key_comes_behind_an_inner_block_and_before_the_comment_that_follows_it():
    text = ODD.replace("rate:   50 Hz", "left:\n            a: 1\n            b: 2  # white lead\n")
    _, new = difference(text, after := changed_text(text, [CHANGES[1]]))

    assert new == ["        left_scale: 0.9936"]
    assert "b: 2  # white lead\n        left_scale: 0.9936\n\n    # the sensor sits" in after


def test_line_ends_stay():
    after = changed_text(ODD.replace("\n", "\r\n"), CHANGES)

    assert after.count("\r\n") == after.count("\n") == ODD.count("\n") + 1


def test_a_block_at_the_very_end_without_a_line_end_grows():
    text = "robot: Cart\nbody:\n  track: 1 m"

    assert changed_text(text, [ValueChange(("body", "track_factor"), "1.5", "1.7")]) == f"{text}\n  track_factor: 1.7"


@given(value=st.floats(0.001, 1000.0), key=st.sampled_from(["track", "wheel_diameter", "track_factor"]))
def test_what_is_written_is_read_back(value, key):
    text = changed_text(ODD, [ValueChange(("body", key), "", f"{value:.6f} mm")])

    assert f"{key}: {value:.6f} mm" in text


def test_a_block_that_is_not_there_is_refused():
    with pytest.raises(CalibrationError, match="by hand"):
        changed_text(ODD, [ValueChange(("devices", "range", "ahead"), "12 cm", "13 cm")])


class TestWriting:
    @pytest.fixture
    def cart(self, tmp_path):
        return Path(shutil.copy(CART, tmp_path / "cart.yaml"))

    def test_the_file_is_new_and_the_old_one_lies_beside_it(self, cart):
        cart.chmod(0o640)
        backup = write(cart, CHANGES)

        assert backup.read_bytes() == CART.read_bytes()
        body = load.load(cart, "robot").model.body
        assert body.wheel_diameter == pytest.approx(0.07029)
        assert stat.S_IMODE(cart.stat().st_mode) == 0o640
        assert sorted(path.name for path in cart.parent.iterdir()) == ["cart.yaml", "cart.yaml.bak"]

    def test_a_change_that_makes_the_file_unsound_is_not_written(self, cart):
        with pytest.raises(FileProblems, match="more than zero"):
            write(cart, [ValueChange(("body", "track_factor"), "1.5", "-1.0")])

        assert cart.read_bytes() == CART.read_bytes()
        assert [path.name for path in cart.parent.iterdir()] == ["cart.yaml"]

    def test_a_link_stays_a_link(self, cart):
        link = cart.with_name("robot.yaml")
        link.symlink_to(cart)
        write(link, CHANGES)

        assert link.is_symlink()
        assert "70.29 mm" in cart.read_text("utf-8")
