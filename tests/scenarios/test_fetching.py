"""The fetching errand in a small bay: what goes wrong with jars and jaws, and how it ends."""

import math

import pytest

from rover.core.step import Action
from rover.events import Delivery, GivenUp, Note

ANY_SEED = (1, 2, 3)


@pytest.mark.parametrize("seed", ANY_SEED)
def test_a_jar_is_found_held_brought_home_and_reported(collect, small_bay, seed):
    done = collect([small_bay.JAR], seed)
    assert done.ended == ("done", "all_in", 1)
    (find,) = done.result.finds
    assert find.kind == "amber"
    assert find.axis_error_m < 0.10
    assert find.distance_error_m <= math.sqrt(2.0) * find.axis_error_m
    assert [event.kind for event in done.run.events_of(Delivery)] == ["amber"]
    assert [thing.place for thing in done.run.final_objects] == ["tray"]


@pytest.mark.parametrize("seed", ANY_SEED)
def test_two_jars_stand_in_two_slots(collect, small_bay, seed):
    done = collect([small_bay.JAR, small_bay.FAR_JAR], seed, keys={"expect": 2})
    assert done.ended == ("done", "all_in", 2)
    first, second = done.run.events_of(Delivery)
    assert {first.kind, second.kind} == {"amber", "teal"}
    assert math.dist((first.x, first.y), (second.x, second.y)) > 0.15


@pytest.mark.parametrize("order", [["teal", "amber"], ["amber", "teal"]])
def test_of_jars_in_view_the_first_kind_of_the_order_is_fetched_first(collect, small_bay, order):
    teal = {"kind": "teal", "x": "2.4 m", "y": "90 cm"}
    done = collect([small_bay.JAR, teal], 2, keys={"expect": 2, "order": order})
    assert [event.kind for event in done.run.events_of(Delivery)] == order


def test_a_grip_that_misses_is_tried_again(collect, small_bay):
    done = collect([small_bay.JAR], 2, gripper={"missed": "50 %"})
    assert "pick_up/back_off" in done.states
    assert done.ended == ("done", "all_in", 1)


def test_a_jar_that_the_jaws_push_away_is_found_where_it_came_to_stand(collect, small_bay):
    done = collect([small_bay.JAR], 2, gripper={"missed": "50 %", "pushed": ["8 cm", "12 cm"]})
    assert done.ended == ("done", "all_in", 1)
    truth = done.run.true_finds[1]
    assert math.dist((truth.x, truth.y), (2.5, 1.3)) > 0.06
    assert done.result.worst_axis_error_m < 0.10


def test_a_jar_that_no_grip_holds_is_put_off_after_its_tries_and_gets_a_second_chance(collect, small_bay):
    done = collect([small_bay.JAR], 2, gripper={"missed": "100 %"})
    assert done.ended == ("failed", "some_left", 0)
    assert done.states.count("pick_up/approach") == 4 + 4
    why = "'pick_up/look_at_jaws' left after 2 s, not grip.held ("
    assert [event.why.startswith(why) for event in done.run.events_of(GivenUp)] == [True, True]


def test_a_jar_put_off_while_the_jaws_failed_is_fetched_in_its_second_chance(collect, small_bay):
    done = collect([small_bay.JAR], 2, faults=["at 3 s: gripper silent for 90 s"])
    assert "second_chance" in done.states
    assert done.ended == ("done", "all_in", 1)


def test_a_jar_put_off_does_not_keep_the_others_from_being_fetched(collect, small_bay):
    """The first jar is taken out of the bay while it is the target."""
    done = collect(
        [small_bay.JAR, small_bay.FAR_JAR], 2, keys={"expect": 2}, faults=["at 5 s: jar 1 moved to [9 m, 9 m]"]
    )
    assert done.ended == ("failed", "some_left", 1)
    assert [event.kind for event in done.run.events_of(Delivery)] == ["teal"]


def test_a_jar_dropped_on_the_way_is_missed_and_fetched_again(collect, small_bay):
    done = collect([small_bay.JAR], 2, gripper={"dropped": "50 %", "dropped_after": ["2 s", "4 s"]})
    assert [event.why for event in done.run.events_of(GivenUp)] == ["lost on the way"]
    assert done.ended == ("done", "all_in", 1)
    assert len(done.result.finds) == 1  # one jar, one find


@pytest.mark.parametrize("seed", ANY_SEED)
def test_no_jar_is_counted_as_delivered_that_was_dropped(collect, small_bay, seed):
    done = collect([small_bay.JAR], seed, gripper={"dropped": "100 %", "dropped_after": ["1 s", "3 s"]})
    assert done.result.delivered <= done.result.truth.delivered  # one pushed in with the next is in as well
    assert done.result.truth.empty_deliveries == 0


@pytest.mark.parametrize("seed", ANY_SEED)
def test_a_target_that_leaves_the_frame_is_looked_for_again(collect, small_bay, seed):
    done = collect([small_bay.JAR], seed, faults=["at 4 s: jar 1 moved to [2 m, 50 cm]"])
    assert done.ended == ("done", "all_in", 1)
    truth = done.run.true_finds[1]
    assert math.dist((truth.x, truth.y), (2.0, 0.5)) < 0.15


def test_a_target_that_is_taken_away_leaves_nothing_to_fetch(collect, small_bay):
    done = collect([small_bay.JAR], 2, faults=["at 4 s: jar 1 moved to [9 m, 9 m]"])
    assert done.ended == ("failed", "some_left", 0)
    assert "seek/nothing_left" in done.states


@pytest.mark.parametrize("seed", ANY_SEED)
def test_a_bay_without_jars_is_searched_and_reported_as_empty(collect, seed):
    done = collect([], seed, keys={"expect": None})
    assert done.ended == ("done", "all_in", 0)
    assert "seek/nothing_left" in done.states
    assert done.result.finds == ()


@pytest.mark.parametrize("seed", ANY_SEED)
def test_the_errand_ends_by_itself_when_the_number_of_jars_is_not_told(collect, small_bay, seed):
    done = collect([small_bay.JAR], seed, keys={"expect": None})
    assert done.ended == ("done", "all_in", 1)


class TestAskingTheOperator:
    """With ``order: ask`` each target is proposed first."""

    @staticmethod
    def answering(*answers):
        """Return a watch that has an operator give these answers, one to each question."""
        left = list(answers)

        def watch(rehearsal):
            step = rehearsal.core.step

            def answered(readings):
                asked = rehearsal.core.engine.path == "propose" and rehearsal.core.known.answer == "none"
                return step(readings._replace(actions=(Action("answer", left.pop(0)),)) if asked and left else readings)

            rehearsal.core.step = answered
            return lambda *_: None

        return watch

    def test_what_the_operator_refuses_is_put_off_and_proposed_once_more_in_the_end(self, files, small_bay):
        errand = files.errand({"objects": [small_bay.JAR, small_bay.FAR_JAR]}, order="ask", expect=2)
        done = small_bay.rehearse(errand, 2, watch=self.answering("no", "yes", "no"))
        assert done.ended == ("failed", "some_left", 1)
        (refused, again), (brought,) = done.run.events_of(GivenUp), done.run.events_of(Delivery)
        assert refused.kind == again.kind != brought.kind
        questions = [note.text for note in done.run.events_of(Note) if note.kind == "question"]
        assert [text.split(" at ")[0] for text in questions] == [
            f"yes or no: {refused.kind}",
            f"yes or no: {brought.kind}",
            f"yes or no: {refused.kind}",
        ]

    def test_where_nobody_answers_it_goes_on(self, collect, small_bay):
        done = collect([small_bay.JAR], 2, keys={"order": "ask"})
        assert "propose" in done.states
        assert done.ended == ("done", "all_in", 1)
