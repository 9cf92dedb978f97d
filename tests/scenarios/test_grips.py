"""Five robots that differ in what tells them of a grip; and what tells lost, frozen or lying with a jar in the jaws."""

from pathlib import Path

import pytest
import yaml

from rover.events import BELIEVED, Delivery, GivenUp, Note
from rover.files import yaml_source
from rover.files.problems import FileProblems
from rover.report.figures import errors_of

GRIPS = Path(__file__).parents[1] / "grips"
ALL_IN = ("done", "all_in", 1)


def robot_of(name):
    return yaml_source.read(GRIPS / f"{name}.yaml", name).values


def kept_honest(done):
    """Tell whether nothing is counted that is not there, and nobody would believe that all is in when it is not."""
    result = done.result
    return result.delivered <= result.truth.delivered and (not result.is_clean or result.truth.delivered == 1)


@pytest.mark.parametrize("name", ["camera", "switch", "opening", "echo"])
def test_whatever_tells_of_the_grip_the_jar_is_brought(collect, small_bay, name):
    done = collect([small_bay.JAR], 2, robot=robot_of(name))
    assert done.ended == ALL_IN
    assert (done.result.delivered, done.result.seen, done.result.believed, done.result.left) == (1, 1, 0, 0)


@pytest.mark.parametrize("name", ["switch", "opening", "echo"])
@pytest.mark.parametrize("seed", range(1, 4))
def test_a_grip_that_was_missed_is_noticed_by_whatever_tells(collect, small_bay, name, seed):
    done = collect([small_bay.JAR], seed, robot=robot_of(name), gripper={"missed": "60 %"})
    assert done.result.truth.empty_finds == 0
    assert done.ended == ALL_IN


@pytest.mark.parametrize("name", ["switch", "opening", "echo"])
def test_a_jar_that_slips_out_is_noticed_by_whatever_tells(collect, small_bay, name):
    faults = ["on entering bring_home/return: held jar slips"]
    done = collect([small_bay.JAR], 2, robot=robot_of(name), faults=faults)
    assert [event.why for event in done.run.events_of(GivenUp)][:1] == ["lost on the way"]
    assert (done.ended, len(done.result.finds)) == (ALL_IN, 1)


def test_a_robot_to_which_nothing_tells_is_refused_with_what_to_add(files, small_bay):
    errand = files.errand({"objects": [small_bay.JAR]}, robot=robot_of("none"))
    with pytest.raises(FileProblems) as raised:
        small_bay.rehearse(errand, 2)
    (problem,) = raised.value.problems
    assert "nothing of this robot tells whether the jaws hold 'amber'" in problem.why
    assert "add one of: a camera that sees the jaws" in problem.why


FAULTS = ["camera frozen", "camera silent", "gripper silent", "gripper jammed", "held jar slips", "range stuck"]


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("state", ["pick_up/tug", "bring_home/return", "bring_home/check_load", "bring_home/deposit"])
def test_what_fails_with_a_jar_in_the_jaws_counts_nothing_that_is_not_there(collect, small_bay, state, fault):
    done = collect([small_bay.JAR], 2, faults=[f"on entering {state}: {fault}"])
    assert kept_honest(done)


@pytest.mark.parametrize("fault", ["gripper silent", "gripper stuck", "gripper reversed"])
@pytest.mark.parametrize("state", ["pick_up/confirm_grip", "bring_home/return", "bring_home/deposit"])
@pytest.mark.parametrize("name", ["switch", "opening"])
def test_feedback_that_is_lost_or_lies_counts_nothing_that_is_not_there(collect, small_bay, name, state, fault):
    faults = [f"on entering {state}: {fault}", "at 16 s: held jar slips"]
    assert kept_honest(collect([small_bay.JAR], 2, robot=robot_of(name), faults=faults))


def test_with_feedback_lost_the_camera_goes_on_telling(collect, files, small_bay):
    gripper = files.robot["devices"]["gripper"] | {"feedback": "switch"}
    robot = files.with_devices(gripper=gripper)
    done = collect([small_bay.JAR], 2, robot=robot, faults=["on entering bring_home/return: gripper silent for 6 s"])
    assert done.ended == ALL_IN
    assert "bring_home/wait_to_know" not in done.states


def test_jaws_that_do_not_let_go_are_tried_three_times_and_said_and_the_robot_goes_home(collect, small_bay):
    done = collect([small_bay.JAR], 2, faults=["on entering bring_home/return: gripper jammed"])
    assert done.ended == ("failed", "some_left", 0)
    assert done.states.count("bring_home/deposit") == 3
    assert done.run.events_of(Delivery) == ()
    notes = [note.text for note in done.run.events_of(Note) if note.kind == "grip"]
    assert notes == ["the jaws do not let go: they were opened before, and still hold something"]
    assert (done.result.delivered, done.result.left) == (0, 1)


@pytest.mark.parametrize("seed", [1, 3, 8])
def test_with_a_jar_that_the_jaws_do_not_let_go_no_other_is_found(collect, small_bay, seed):
    """It was taken for the next one: a find was noted 0.6 m from where that stood."""
    jars, faults = [small_bay.JAR, small_bay.FAR_JAR], ["on entering bring_home/return: gripper jammed"]
    done = collect(jars, seed, keys={"expect": 2}, faults=faults)
    assert done.ended == ("failed", "some_left", 0)
    assert len(done.result.finds) == 1
    assert all(error.distance < 0.1 for error in errors_of(done.run).values())


def test_what_nothing_could_tell_is_believed_and_the_errand_is_done_and_not_clean(collect, small_bay):
    """The jar is let go of, and from then on nothing reports: camera and range finder are all that this robot has."""
    faults = ["on entering bring_home/deposit: camera silent", "on entering bring_home/deposit: range silent"]
    done = collect([small_bay.JAR], 2, faults=faults)
    assert done.result.truth.delivered == 1
    assert [one.known_by for one in done.run.events_of(Delivery)] == [BELIEVED]
    assert (done.result.delivered, done.result.believed, done.result.is_clean) == (0, 1, False)


def test_one_jar_is_one_find_however_often_it_is_gripped(collect, small_bay):
    done = collect([small_bay.JAR], 2, gripper={"dropped": "70 %", "dropped_after": ["2 s", "4 s"]})
    assert len(done.result.finds) == 1
    assert done.states.count("bring_home/report") > 1


def test_the_robots_differ_from_the_cart_in_nothing_else():
    """So that what they show is what tells of the grip."""
    cart = yaml.safe_load((GRIPS.parents[1] / "config/cart.yaml").read_text())
    for name in ("camera", "switch", "opening", "echo", "none"):
        robot = yaml.safe_load((GRIPS / f"{name}.yaml").read_text())
        others = {key: value for key, value in robot["devices"].items() if key not in ("camera", "range", "gripper")}
        assert others == {key: value for key, value in cart["devices"].items() if key in others}
        assert {key: robot[key] for key in robot if key not in ("robot", "devices")} == {
            key: cart[key] for key in cart if key not in ("robot", "devices")
        }
