"""Which devices are not well as a run ends: what stays so, and not a line that stalls for a moment."""

import pytest

from rover.events import Health, HealthChange
from rover.session.aftermath import Unwell

SECOND = 1_000_000_000


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ([(4, Health.FAULTY, "no answer")], ["battery, faulty since 4.0 s: no answer"]),
        ([(4, Health.OVERDUE, "")], ["battery, overdue since 4.0 s"]),
        (
            [(4, Health.DOUBTED, "says 12 V again and again")],
            ["battery, doubted since 4.0 s: says 12 V again and again"],
        ),
        ([(4, Health.OVERDUE, ""), (5, Health.OK, "")], []),
        ([(9, Health.OVERDUE, "")], []),
        ([(9, Health.FAULTY, "no answer")], ["battery, faulty since 9.0 s: no answer"]),
    ],
)
def test_a_device_that_stays_unwell_is_named(changes, said):
    unwell = Unwell(0)
    for at_s, health, why in changes:
        unwell.take(at_s * SECOND, HealthChange("battery", health, why))
    assert list(unwell.at(10 * SECOND)) == said
