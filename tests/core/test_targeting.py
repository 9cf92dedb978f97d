"""What a frame shows: which sightings are of things done with, and which candidate is chosen and kept."""

import math

import pytest

from rover.core.targeting import DONE_WITH_RADIUS, FRAMES_TO_SWITCH, TargetChoice, is_done_with, seen_in_tray
from rover.devices.readings import Detection
from rover.errand.entries import Filled, Standing
from rover.geometry import Pose
from rover.vision.clear_view import ClearView
from rover.vision.targets import FieldOfView, Sighting, TargetMemory, sight
from tests.errand.conftest import ledger

__all__ = ["ledger"]

VIEW = FieldOfView(ahead=0.06, half_view=math.radians(30.0), reach=2.5, nearest=0.12)
START = Pose(1.0, 1.0, 0.0)


def look(memory, *things, pose=START, frames=1):
    """Show the memory some frames with things at (x, y) or (x, y, kind)."""
    eye_x, eye_y = VIEW.place(pose)
    for _ in range(frames):
        detections = []
        for x, y, *kind in things:
            bearing = math.remainder(math.atan2(y - eye_y, x - eye_x) - pose.heading, math.tau)
            distance = math.hypot(x - eye_x, y - eye_y)
            detections.append(Detection(*(kind or ["amber"]), bearing, distance, 0.01, 0.03 * distance, 0.1))
        memory.update([sight(one, VIEW, pose, 0.01) for one in detections], pose, ClearView((), ()))


def seen(kind, x, y, sigma):
    """Return a sighting of something at (x, y), so vague (m)."""
    return Sighting(Detection(kind, 0.0, 1.0, 0.01, sigma, 0.1), 1.0, 0.0, x, y, sigma**2, 0.0, sigma**2, 0.0)


@pytest.fixture
def memory():
    return TargetMemory(VIEW)


@pytest.fixture
def choice(memory):
    return TargetChoice(memory)


class TestDoneWith:
    def test_what_stands_in_the_tray_is(self, ledger):
        errand = ledger()
        assert is_done_with(errand, seen("amber", 0.75, 0.75, 0.02))
        assert is_done_with(errand, seen("amber", 1.31, 0.75, 0.02))

    def test_what_stands_beside_it_is_not(self, ledger):
        """4 cm off the edge, which is at 1.35 m; with the slot nearest to it filled by one of its kind, too."""
        errand = ledger()
        assert not is_done_with(errand, seen("amber", 1.34, 0.75, 0.02))  # who knows
        assert not is_done_with(errand, seen("amber", 1.39, 0.75, 0.02))
        nearest = max(errand.ground.slots, key=lambda slot: slot.x)
        errand.filled.append(Filled(nearest, "amber"))
        assert not is_done_with(errand, seen("amber", 1.39, nearest.y, 0.02))

    def test_what_stood_there_already_is_though_it_seems_to_stand_beside_it_from_afar(self, ledger):
        errand = ledger()
        errand.standing.append(Standing("amber", 1.2, 0.75))
        assert is_done_with(errand, seen("amber", 1.5, 0.75, 0.12))
        assert not is_done_with(errand, seen("teal", 1.5, 0.75, 0.12))
        assert not is_done_with(errand, seen("amber", 1.5, 0.75, 0.02))

    def test_what_was_put_off_is(self, ledger):
        errand = ledger()
        errand.leave("teal", 3.0, 3.0)
        assert is_done_with(errand, seen("amber", 3.0 + 0.9 * DONE_WITH_RADIUS, 3.0, 0.01))
        assert not is_done_with(errand, seen("amber", 3.0 + 1.1 * DONE_WITH_RADIUS, 3.0, 0.01))

    def test_seen_from_afar_what_was_put_off_may_seem_to_stand_elsewhere(self, ledger):
        """The robot went 7 m across the field for it, four times, and found it to be that again."""
        errand = ledger()
        errand.leave("teal", 3.0, 3.0)
        assert is_done_with(errand, seen("teal", 3.4, 3.3, 0.2))
        assert not is_done_with(errand, seen("teal", 3.4, 3.3, 0.1))
        assert not is_done_with(errand, seen("amber", 3.4, 3.3, 0.2))

    def test_seen_vaguely_from_far_off_a_jar_in_the_tray_may_seem_to_stand_beside_it(self, ledger):
        errand = ledger(expect=1)
        slot = errand.free_slots[0]
        errand.carried = "amber"
        errand.set_down(slot, slot.x, slot.y, 1.0)
        assert is_done_with(errand, seen("amber", slot.x + 0.9, slot.y, 0.35))
        assert not is_done_with(errand, seen("teal", slot.x + 0.9, slot.y, 0.35))
        assert not is_done_with(errand, seen("amber", slot.x + 0.9, slot.y, 0.05))

    def test_what_was_not_there_three_times_is_not_believed_in_there(self, ledger):
        errand = ledger()
        for _ in range(2):
            errand.missed((3.0, 3.0))
        assert not is_done_with(errand, seen("teal", 3.05, 3.0, 0.02))
        errand.missed((3.0, 3.0))
        assert is_done_with(errand, seen("teal", 3.05, 3.0, 0.02))
        assert not is_done_with(errand, seen("teal", 3.5, 3.0, 0.02))


class TestSeenInTray:
    """A jar stands 30 cm from the west wall, and the eye is 80 cm east of it."""

    EYE = (1.1, 0.75)

    @pytest.fixture
    def filled(self, ledger):
        errand = ledger()
        errand.standing.append(Standing("amber", 0.3, 0.75))
        return errand

    @pytest.mark.parametrize("x", [0.3, 0.2, 0.06])
    def test_a_jar_seems_to_stand_far_beyond_its_place_when_the_camera_is_pitched(self, filled, x):
        again = seen("amber", x, 0.75, 0.05)
        assert seen_in_tray(filled, [again], self.EYE) == [again]

    @pytest.mark.parametrize(
        "other",
        [
            seen("teal", 0.1, 0.75, 0.05),
            seen("amber", 0.1, 0.95, 0.05),  # beside the line
            seen("amber", 0.1, 0.75, 0.02),  # too sure to be so wrong
            seen("amber", 0.6, 0.75, 0.05),  # before it: it would be hidden, and is driven into if it is taken for it
        ],
    )
    def test_another_is_another(self, filled, other):
        assert seen_in_tray(filled, [other], self.EYE) == []

    def test_where_both_are_seen_only_the_nearer_to_its_place_is_it(self, filled):
        itself, beyond = seen("amber", 0.32, 0.76, 0.05), seen("amber", 0.12, 0.76, 0.05)
        assert seen_in_tray(filled, [beyond, itself], self.EYE) == [itself]

    def test_of_two_behind_each_other_each_is_one(self, filled):
        """Both seem to stand too far off, the one in front where the other stands."""
        filled.standing.append(Standing("amber", 0.52, 0.75))
        both = [seen("amber", 0.4, 0.75, 0.05), seen("amber", 0.08, 0.75, 0.05)]
        assert seen_in_tray(filled, both, self.EYE) == both


class TestTray:
    """The tray's edge is at x = 1.35 m, and the jar is seen from 1.9 m on."""

    @pytest.fixture
    def before(self, stepping, jar):
        """Stand before the tray, so unsure (m), and see a jar that seems to stand at an x."""

        def stand(jar_x, unsure):
            robot = stepping()
            robot.step()
            estimate = robot.core.known.filter
            estimate.x, estimate.y, estimate.heading = 1.9, 0.75, math.pi
            robot.values["heading"] = robot.values["heading"]._replace(angle=-0.5 * math.pi)
            estimate.lost(unsure)
            for _ in range(12):
                robot.step(camera=jar(1.9 - robot.core.known.targets.view.ahead - jar_x))
            return robot

        return stand

    @pytest.mark.parametrize(
        ("jar_x", "unsure", "is_entered"),
        [(1.29, 0.0, True), (1.32, 0.05, False), (1.15, 0.05, True)],
        ids=["within", "within, who knows", "well within"],
    )
    def test_what_stands_there_is_entered_where_that_is_sure(self, before, jar_x, unsure, is_entered):
        """Entered wrongly, it takes slots and is never fetched."""
        robot = before(jar_x, unsure)
        ledger = robot.core.known.ledger
        assert bool(ledger.standing) == is_entered
        assert len(ledger.in_tray) == 1

    def test_what_stands_at_the_edge_is_gone_for(self, before):
        """It may as well stand beside the tray, and nothing is lost by setting it down again."""
        known = before(1.34, 0.0).core.known
        assert (known.ledger.in_tray, [one.kind for one in known.targets.objects]) == ([], ["amber"])

    def test_what_stands_there_perhaps_is_forgotten_once_the_position_is_surer(self, before, jar):
        """It was outside: it is fetched from where it is seen now."""
        robot = before(1.32, 0.05)
        known = robot.core.known
        for state, slopes in enumerate((((0, 1.0),), ((1, 1.0),))):
            known.filter.correct(slopes, (0.06, 0.0)[state], 1e-4)
        robot.steps(0.1, camera=robot.values["camera"]._replace(objects=()))
        assert not known.ledger.standing
        assert not known.ledger.in_tray
        robot.steps(0.3, camera=jar(known.pose.x - known.targets.view.ahead - 1.38))
        assert [round(one.x, 2) for one in known.targets.objects] == [1.38]


class TestChoice:
    def test_nothing_known_is_no_target(self, memory, choice):
        look(memory, (2.0, 1.0))
        choice.choose(START, None)
        assert memory.chosen is None

    def test_the_nearest_is_chosen(self, memory, choice):
        look(memory, (2.5, 1.0), (1.8, 1.1), frames=5)
        choice.choose(START, None)
        assert memory.chosen.x == pytest.approx(1.8, abs=0.05)

    def test_what_bars_the_tray_comes_before_what_is_nearer(self, memory, choice):
        look(memory, (2.5, 1.0), (1.8, 1.1), frames=5)
        barring = [one for one in memory.objects if one.x > 2.0]
        choice.choose(START, None, barring)
        assert memory.chosen in barring
        for _ in range(2 * FRAMES_TO_SWITCH):
            choice.choose(START, None, barring)
        assert memory.chosen in barring

    def test_what_bars_it_and_is_not_wanted_now_does_not(self, memory, choice):
        look(memory, (2.5, 1.0, "teal"), (1.8, 1.1), frames=5)
        barring = [one for one in memory.objects if one.kind == "teal"]
        choice.choose(START, ["amber"], barring)
        assert memory.chosen.kind == "amber"

    def test_one_behind_costs_the_turn(self, memory, choice):
        look(memory, (2.0, 1.0), frames=5)
        look(memory, (0.1, 1.0), pose=Pose(1.0, 1.0, math.pi), frames=5)
        choice.choose(START, None)
        assert memory.chosen.x > 1.0

    def test_between_two_equal_ones_there_is_no_dithering(self, memory, choice):
        """The robot drives up between them, swaying, and each is nearer half of the time."""
        chosen = set()
        for step in range(60):
            pose = Pose(0.5 + 0.01 * step, 1.0, 0.2 * math.sin(step))
            look(memory, (2.2, 1.25), (2.2, 0.75), pose=pose)
            choice.choose(pose, None)
            if memory.chosen is not None:
                chosen.add(memory.chosen.number)
        assert len(chosen) == 1

    def test_a_clearly_better_one_takes_over_after_some_frames(self, memory, choice):
        look(memory, (2.9, 1.0), frames=5)
        choice.choose(START, None)
        look(memory, (2.9, 1.0), (1.5, 1.0, "teal"), frames=5)
        kinds = []
        for _ in range(FRAMES_TO_SWITCH):
            choice.choose(START, None)
            kinds.append(memory.chosen.kind)
        assert kinds == ["amber"] * (FRAMES_TO_SWITCH - 1) + ["teal"]
        assert kinds[:3] == ["amber"] * 3

    def test_one_only_a_little_better_does_not(self, memory, choice):
        look(memory, (2.0, 1.0), frames=5)
        choice.choose(START, None)
        look(memory, (2.0, 1.0), (1.8, 1.0, "teal"), frames=5)
        for _ in range(50):
            choice.choose(START, None)
        assert memory.chosen.kind == "amber"

    @pytest.mark.parametrize(
        ("kinds", "chosen"),
        [(None, "amber"), (["teal"], "teal"), (["violet", "teal", "amber"], "teal"), (["violet"], None), ([], None)],
    )
    def test_the_order_of_kinds_comes_before_nearness(self, memory, choice, kinds, chosen):
        look(memory, (1.8, 1.0, "amber"), (2.5, 1.2, "teal"), frames=5)
        choice.choose(START, kinds)
        assert (memory.chosen and memory.chosen.kind) == chosen
