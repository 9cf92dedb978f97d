"""When states were entered and left, as the changes of state tell."""

from rover.diagnosis.evidence import Evidence
from rover.diagnosis.visits import Visit, inside
from rover.events import StateChange


def changes(*steps: tuple[str, str, str]) -> list[StateChange]:
    return [StateChange(left, entered, by, "") for left, entered, by in steps]


def visits(run) -> list[Visit]:
    return Evidence(run).visits


def stays(run) -> list[tuple[str, float, str]]:
    return [(visit.state, visit.seconds, visit.exit) for visit in visits(run)]


def test_enclosing_states_last_as_long_as_what_is_inside(run_of):
    steps = changes(
        ("", "seek/look", "start"), ("seek/look", "seek/found", "when a"), ("seek/found", "home", "when done")
    )
    assert stays(run_of(steps, lasts_s=10)) == [
        ("seek", 2.0, "when done"),
        ("seek/look", 1.0, "when a"),
        ("seek/found", 1.0, "when done"),
        ("home", 8.0, ""),
    ]


def test_an_exit_to_the_present_state_is_another_visit_of_it_alone(run_of):
    steps = changes(("", "seek/look", "start"), ("seek/look", "seek/look", "when failed"))
    assert [state for state, _, _ in stays(run_of(steps))] == ["seek", "seek/look", "seek/look"]


def test_what_is_resumed_is_entered_afresh_from_the_outermost_in(run_of):
    steps = changes(("", "seek/look", "start"), ("seek/look", "seek/look", "resumed"))
    assert [state for state, _, _ in stays(run_of(steps))] == ["seek", "seek/look", "seek", "seek/look"]


def test_what_is_directly_inside_a_visit(run_of):
    steps = changes(
        ("", "a/b/c", "start"), ("a/b/c", "a/d", "when x"), ("a/d", "e", "when y"), ("e", "a/b/c", "when z")
    )
    found = visits(run_of(steps))
    outer = [visit for visit in found if visit.state == "a"]
    assert [[one.state for one in inside(found, visit)] for visit in outer] == [["a/b", "a/d"], ["a/b"]]
