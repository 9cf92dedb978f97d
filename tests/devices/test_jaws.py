"""The measures of the jaws: as the robot file has them, and usual ones where it says nothing."""

import pytest

from rover.devices.gripper.keys import GripperKeys
from rover.devices.jaws import FINGER, ROOM_BESIDE, jaws_size


def size(widest=0.05, **keys):
    return jaws_size(GripperKeys.model_validate({"driver": "simulated"} | keys), widest)


def test_what_the_file_says():
    assert size(opens_to="9 cm", depth="6 cm", tips="3 cm") == pytest.approx((0.045, 0.03, 0.03))


def test_usual_jaws_take_the_widest_and_six_centimetres():
    assert size(0.08).half_open == pytest.approx(0.07)
    assert jaws_size(None, 0.08) == size(0.08)


def test_what_is_narrower_may_stand_farther_aside():
    assert size(opens_to="9 cm").spare(0.05) == pytest.approx(0.02)
    assert size(opens_to="9 cm").spare(0.03) == pytest.approx(0.03)
    assert size(opens_to="9 cm").spare(0.12) == 0.0


def test_wide_jaws_need_room_between_what_they_set_down():
    assert size(opens_to="9 cm").room(0.05) == pytest.approx(0.04 + 4.0 * FINGER + ROOM_BESIDE)
    assert size(opens_to="20 cm").half_width == pytest.approx(0.1 + FINGER)
