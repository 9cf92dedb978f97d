import os

import pytest

from rover.quantities import LENGTH
from rover.readiness.person import NobodyAnswersError, Person


@pytest.fixture
def typed():
    """Return a person who types lines on a real pipe, and what is said to them."""
    opened = []

    def make(*lines):
        reads, writes = os.pipe()
        opened.append(reads)
        os.write(writes, "".join(f"{line}\n" for line in lines).encode())
        os.close(writes)
        said = []
        return Person(reads, said.append, "answer at a terminal"), said

    yield make
    for descriptor in opened:
        os.close(descriptor)


def test_a_line_is_the_answer_and_something_else_is_done_meanwhile(typed):
    person, said = typed("  50 CM ")
    steps = []
    assert person.ask("How far?", lambda: steps.append(1)) == "50 CM"
    assert (said, len(steps)) == (["How far? "], 1)


def test_the_first_letters_of_a_choice_will_do_if_they_tell_it_from_the_others(typed):
    person, said = typed("", "ba", "b", "Backw")
    assert person.choose("Which way?", ("backwards", "badly")) == "backwards"
    assert said == ["Which way? [backwards/badly] "] * 4


def test_a_quantity_is_asked_for_until_it_has_its_unit(typed):
    person, said = typed("2", "2 kg", "20 cm")
    assert person.quantity("How far?", LENGTH) == pytest.approx(0.2)
    assert ["unit" in line for line in said if line != "How far? "] == [True, False]


def test_a_quantity_may_be_left_out(typed):
    person, _ = typed("2", "")
    assert person.quantity("How far?", LENGTH) is None


def test_the_end_of_the_input_is_told_with_what_to_do_instead(typed):
    person, _ = typed("yes")
    assert person.choose("Ready?", ("yes", "no")) == "yes"
    with pytest.raises(NobodyAnswersError, match=r"^nobody answers 'How far\?'; answer at a terminal$"):
        person.ask("How far?")
