"""What is counted of the truth, on a simulation that a test plays by hand."""

from types import SimpleNamespace

import pytest

from rover.events import Find
from rover.files import yaml_source
from rover.files.errand import Errand
from rover.files.robot import Robot
from rover.geometry import Pose
from rover.record.run import TrueBump, TrueFind, TrueTouch
from rover.session.truth import TruthKeeper
from rover.simulation import Contact, TrueObject

STEP_NS = 20_000_000
JAR = TrueObject("jar", "amber", 2.0, 2.0)
IN_TRAY = JAR._replace(x=0.75, y=0.75)
FOUND = Find(1, "amber", 2.0, 2.0, 1e-4, 0.0, 1e-4)


class Played:
    """A simulation of one jar; the bay is 6 m by 4 m, its tray 1.2 m square about (0.75, 0.75)."""

    def __init__(self, root, objects=(JAR,), **keys):
        robot = Robot.model_validate(yaml_source.read(root / "config/cart.yaml", "cart.yaml").values)
        values = yaml_source.read(root / "config/greenhouse.yaml", "greenhouse.yaml").values
        errand = Errand.model_validate(values | keys)
        self.pose, self.objects, self.touched = Pose(3.0, 2.0, 0.0), objects, []
        self.now_ns, self.incidents = 0, []
        self.keeper = TruthKeeper(self, robot, errand)

    def advance(self, now_ns):
        """Nothing goes on here by itself."""

    def contacts(self):
        touched, self.touched = self.touched, []
        return touched

    def go_on(self, seconds=0.02, **changes):
        """Change the jar at once, then let so much time go by."""
        if changes:
            self.objects = (self.objects[0]._replace(**changes),)
        for _ in range(round(seconds * 50)):
            self.now_ns += STEP_NS
            self.incidents += self.keeper.step(self.now_ns)

    def run_into(self, what, speed=0.0, **changes):
        self.touched = [Contact(what, speed)]
        self.go_on(**changes)

    def figures(self, **names):
        """Return those of the figures at the end that are not zero."""
        self.incidents += self.keeper.end(self.now_ns)
        figures = self.keeper.in_figures()
        return {name: value for name in figures.__slots__ if (value := getattr(figures, name)) and name != "objects"}


@pytest.fixture
def played(request):
    return Played(request.config.rootpath)


def test_an_errand_in_which_all_goes_well_leaves_nothing_to_say(played):
    played.run_into("jar")  # the closing jaws
    played.go_on(held=True)
    assert played.keeper.find(FOUND) == TrueFind(1, 2.0, 2.0)
    played.go_on(x=IN_TRAY.x, y=IN_TRAY.y)
    played.keeper.deliver()
    played.go_on(held=False)
    for _ in range(50):
        played.run_into("jar")  # as the jaws are drawn back
    assert played.figures() == {"delivered": 1}
    assert [one.place for one in played.keeper.final_objects()] == ["tray"]


def test_a_find_is_held_against_where_the_object_stood_before_it_was_gripped(played):
    played.run_into("jar", x=2.05)
    played.go_on(x=2.05, y=2.01, held=True)
    played.go_on(x=3.0, y=3.0)
    assert played.keeper.find(FOUND) == TrueFind(1, 2.05, 2.0)


def test_a_find_with_nothing_in_the_jaws_and_its_delivery_are_empty(played):
    assert played.keeper.find(FOUND) is None
    played.keeper.deliver()
    assert played.figures() == {"empty_finds": 1, "empty_deliveries": 1}


def test_what_is_let_go_on_the_way_is_delivered_in_belief_only(played):
    played.go_on(held=True)
    played.keeper.find(FOUND)
    played.go_on(x=1.8, held=False)
    played.keeper.deliver()
    assert played.figures() == {"empty_deliveries": 1, "let_go_outside": 1}


def test_what_is_still_in_the_jaws_at_the_end_is_not_delivered(played):
    played.go_on(held=True, x=IN_TRAY.x, y=IN_TRAY.y)
    assert played.figures() == {}
    assert [one.place for one in played.keeper.final_objects()] == ["held"]


def test_an_object_pushed_and_left_is_touched_once_however_long_it_was_pushed(played):
    for x in range(100):
        played.run_into("jar", x=2.0 + 0.001 * x)
    played.go_on(3.0)
    played.run_into("jar")
    assert played.figures() == {"touched": 2}
    (began_ns, first), (_, again) = played.incidents
    assert (began_ns, first) == (STEP_NS, TrueTouch("jar", "amber", 2.0, 2.0, pytest.approx(0.099), False))
    assert again.moved == 0.0


def test_an_object_touched_in_the_tray_counts_there(played):
    played.go_on(x=IN_TRAY.x, y=IN_TRAY.y)
    played.run_into("jar", fallen=True)
    assert played.figures() == {"delivered": 1, "touched_in_tray": 1, "fallen": 1}


def test_a_bump_counts_once_at_its_fastest(played):
    for speed in (0.1, 0.3, 0.0):
        played.run_into(None, speed)
    played.go_on(3.0)
    played.run_into(None, 0.2)
    assert played.figures() == {"bumps": 2, "fastest_bump_m_s": 0.3}
    assert [what for _, what in played.incidents] == [TrueBump(3.0, 2.0, 0.3), TrueBump(3.0, 2.0, 0.2)]


@pytest.mark.parametrize(
    ("pose", "outside"),
    [
        (Pose(5.80, 2.0, 0.0), None),
        (Pose(5.85, 2.0, 0.0), 0.04),  # the jaws reach 16 cm and 3 cm of finger
        (Pose(5.85, 2.0, 3.14159265), None),  # the other way round the body is 12 cm long
        (Pose(6.5, 2.0, 0.0), 0.69),
        (Pose(3.0, -0.05, 0.0), 0.18),
    ],
)
def test_outside_is_any_corner_of_the_outline_beyond_the_boundary(played, pose, outside):
    played.pose = pose
    played.go_on(1.0)
    figures = SimpleNamespace(**{"outside_s": 0.0, "farthest_outside_m": None} | played.figures())
    assert figures.farthest_outside_m == (outside and pytest.approx(outside, abs=1e-6))
    assert figures.outside_s == pytest.approx(1.0 if outside else 0.0, abs=0.11)


def test_the_way_of_the_middle_is_summed_up(played):
    for x in range(50):
        played.pose = Pose(3.0 + 0.01 * x, 2.0, 0.0)
        played.go_on(0.1)
    assert played.figures() == {"driven_m": pytest.approx(0.49)}


def test_what_stands_in_the_tray_from_the_start_or_is_not_wanted_is_not_to_be_fetched(request):
    there, other = IN_TRAY._replace(id="there"), TrueObject("other", "teal", 3.0, 3.0)
    played = Played(request.config.rootpath, (JAR, there, other), order=["amber"])
    assert (played.keeper.in_figures().objects, played.keeper.in_figures().delivered) == (1, 0)
    played.objects = (IN_TRAY, there, other._replace(x=0.5, y=0.5))
    played.go_on()
    assert (played.keeper.in_figures().objects, played.keeper.in_figures().delivered) == (1, 1)


def test_a_delivery_that_the_robot_takes_back_itself_was_no_false_one(played):
    """It was let go of beside the tray, is gripped there and brought in."""
    played.go_on(held=True)
    played.keeper.find(FOUND)
    played.go_on(x=0.75, y=1.6)
    played.keeper.deliver()
    played.go_on(held=False)
    played.go_on(held=True)
    played.keeper.take_out()
    played.go_on(x=IN_TRAY.x, y=IN_TRAY.y)
    played.keeper.deliver()
    played.go_on(held=False)
    assert "empty_deliveries" not in played.figures()


def test_one_that_had_been_brought_in_hides_no_false_one(played):
    played.go_on(held=True)
    played.keeper.find(FOUND)
    played.go_on(x=IN_TRAY.x, y=IN_TRAY.y)
    played.keeper.deliver()
    played.go_on(held=False)
    played.keeper.deliver()  # of something that never came
    played.go_on(held=True)
    played.keeper.take_out()
    assert played.figures()["empty_deliveries"] == 1
