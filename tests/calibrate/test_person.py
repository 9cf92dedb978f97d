import os

import pytest

from rover.calibrate.person import HumanAssistant
from rover.readiness.person import Person


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
        return HumanAssistant(Person(reads, said.append, "")), said

    yield make
    for descriptor in opened:
        os.close(descriptor)


def test_a_length_is_asked_for_until_it_can_be_meant(typed):
    person, said = typed("2", "", "2 kg", "200 mm", "-2 m", "1.985 m")

    assert person.length(2.0) == pytest.approx(1.985)
    answers = [line for line in said if not line.startswith("how far")]
    assert [
        word in line for word, line in zip(["unit", "a mass", "look at the unit", "above zero"], answers, strict=True)
    ]


def test_a_place_of_return_has_a_sign_on_each_axis(typed):
    person, _ = typed("12 m", "3 mm", "-12 mm", "3 mm")

    assert person.return_error(1.0) == pytest.approx((-0.012, 0.003))


def test_headings_distances_and_temperatures(typed):
    person, _ = typed("500 deg", "90 deg", "50 m", "49 cm", "70 degC", "21.5 degC", "maybe", "no")

    assert person.true_heading() == pytest.approx(1.5707963)
    assert person.wall_distance(0.5) == pytest.approx(0.49)
    assert person.air_temperature() == pytest.approx(21.5)
    assert person.turned_left() is False


def test_pulses_are_tried_until_one_is_right(typed):
    person, _ = typed("1850 us", "3 s", "1870 us", "yes")
    tried = []

    assert person.pulse("open", 0.0019, tried.append) == pytest.approx(0.00187)
    assert tried == pytest.approx([0.0019, 0.00185, 0.00187])
