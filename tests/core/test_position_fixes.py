"""The position is fixed by known walls; not by what is known to stand before them, however unsure the position is."""

import dataclasses
import math

import pytest

from rover.devices.readings import MARKER, Detection, HeadingValue, RangeValue, WheelCounts
from rover.geometry import Pose
from rover.motion.echo import STRAY_ECHOES
from rover.motion.heard import Arc
from tests.core.conftest import STEP

EAST = 6.0
BEFORE = 0.17
"""So far (m) before the east wall stands one that nobody drew."""


@pytest.fixture
def unsure(stepping):
    """A robot that drives towards the east wall, its position good to 10 cm either way."""
    at_work = stepping()
    at_work.steps(4.0)
    at_work.core.known.filter.lost(0.1)
    return at_work


def drive_on(at_work, hearing):
    """Take some steps on, with echoes from a place (m along x); return how far (m) fixes have moved the position."""
    known = at_work.core.known
    ahead, way = known.robot.devices.of_family("range")["range"].mount.ahead, known.robot.body.metres_per_count
    before = known.fixes.moved[0]
    for _ in range(40):
        x = 3.0 + at_work.values["counts"].left * way
        at_work.step(range=RangeValue(hearing - x - ahead))
    return known.fixes.moved[0] - before


def test_an_echo_of_what_nobody_met_is_taken_for_the_wall(unsure):
    assert drive_on(unsure, EAST - BEFORE) == pytest.approx(BEFORE, abs=0.03)


def touch(known):
    known.ledger.obstacles.touched([(EAST - BEFORE, 1.9), (EAST - BEFORE, 2.1)], known.now_ns)


def hear(known):
    """Hear it from half a metre away, surely enough that it is no stray echo."""
    for _ in range(STRAY_ECHOES):
        known.heard.hear(Arc("range", Pose(EAST - BEFORE - 0.5, 2.0, 0.0), 0.5, math.radians(15.0), known.now_ns))


@pytest.mark.parametrize("meet", [touch, hear])
def test_an_echo_of_what_was_met_is_not(unsure, meet):
    known = unsure.core.known
    meet(known)
    assert drive_on(unsure, EAST - BEFORE) == 0.0
    assert next(iter(known.fixes.looks.values())).refused > 0


def test_beside_it_the_wall_is_heard_as_ever(unsure):
    touch(unsure.core.known)
    assert drive_on(unsure, EAST - 0.05) == pytest.approx(0.05, abs=0.01)


def test_what_was_touched_at_the_wall_is_the_wall(unsure):
    known = unsure.core.known
    known.ledger.obstacles.touched([(EAST - 0.08, 2.0)], known.now_ns)
    assert drive_on(unsure, EAST - 0.07) == pytest.approx(0.07, abs=0.01)


@pytest.mark.parametrize("meet", [touch, hear])
def test_who_is_less_sure_than_the_way_between_them_goes_by_the_wall(unsure, meet):
    """What was met there may be that very wall, met by a robot that was elsewhere than it believed."""
    meet(unsure.core.known)
    unsure.core.known.filter.lost(0.15)
    assert drive_on(unsure, EAST - BEFORE) == pytest.approx(BEFORE, abs=0.03)


def test_an_echo_from_beyond_the_wall_is_of_nothing_before_it(unsure):
    known = unsure.core.known
    known.ledger.obstacles.touched([(EAST - BEFORE, 2.5)], known.now_ns)
    assert drive_on(unsure, EAST + 0.1) == pytest.approx(-0.1, abs=0.02)


@pytest.mark.parametrize(("turn_rate", "is_believed"), [(0.0, True), (0.7, False)], ids=["at rest", "in a turn"])
def test_in_a_turn_a_marker_tells_less_of_the_heading_since_frames_come_late(stepping, turn_rate, is_believed):
    """The marker seems to be 4 deg aside: as it would 0.1 s later in the turn."""
    at_work = stepping()
    at_work.steps(1.0)
    known = at_work.core.known
    pose = known.pose
    known.ground = dataclasses.replace(known.ground, marker=(pose.x + 1.5, pose.y))
    for _ in range(15):
        angle = at_work.values["heading"].angle + turn_rate * STEP
        half = turn_rate * STEP * 0.5 * known.filter.track / known.robot.body.metres_per_count
        counts = at_work.values["counts"]
        counts = WheelCounts(counts.left - round(half), counts.right + round(half))
        at_work.step(heading=HeadingValue(angle, turn_rate, 3), counts=counts)
    known.filter.lost_heading(math.radians(3.5))
    now, eye = known.filter.pose, known.targets.view.place(known.filter.pose)
    bearing = math.atan2(known.ground.marker[1] - eye[1], known.ground.marker[0] - eye[0]) - now.heading
    away = math.dist(eye, known.ground.marker)
    aside = math.radians(4.0)
    at_work.core._senses._fixes.see(Detection(MARKER, bearing + aside, away, 0.01, 0.02, 0.1), known.now_ns)
    turned = abs(known.filter.pose.heading - now.heading)
    assert (turned > 0.7 * aside) is is_believed
    assert is_believed or turned < 0.4 * aside
