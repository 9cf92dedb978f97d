import itertools

import pytest
from pydantic import ValidationError

from rover.errors import UserError


def test_a_jar_that_is_not_there_cannot_be_moved(bay):
    with pytest.raises(ValidationError, match="there is no jar 2; they are numbered 1 to 1"):
        bay.bench_file(scatter={"amber": 1}, faults=["at 1 s: jar 2 moved to [1 m, 1 m]"])


def test_a_bench_refuses_a_kind_that_the_errand_lacks(bay):
    with pytest.raises(UserError, match="amberr"):
        bay.quiet_bench(scatter={"amberr": 1})


@pytest.mark.parametrize(
    ("family", "fault"),
    [("heading", "heading silent"), ("counts", "link silent"), ("camera", "camera silent"), ("range", "range silent")],
)
def test_a_silent_device_reports_nothing_for_as_long_as_it_says(bay, family, fault):
    bench = bay.quiet_bench(faults=[f"at 1 s: {fault} for 1 s"])
    taken = [reading.taken_ns for reading in bay.reports(bench, family, 3.0)]
    assert taken
    assert not [time for time in taken if bay.seconds(1.0) <= time < bay.seconds(2.0)]
    assert max(taken) > bay.seconds(2.0)


def test_reports_lost_on_the_link_leave_a_gap_in_the_sequence(bay):
    bench = bay.quiet_bench(faults=["at 1 s: link silent for 1 s"])
    numbers = [reading.sequence for reading in bay.reports(bench, "counts", 3.0)]
    assert max(after - before for before, after in itertools.pairwise(numbers)) == 51


def test_counts_jump_and_stick(bay):
    bench = bay.quiet_bench(faults=["at 1 s: counts jump of 400", "at 2 s: counts stuck for 1 s"])
    driver = bay.device(bench, "counts")
    driver.poll(bay.seconds(0.98))
    bench.drive(0.0, 0.0, bay.FOREVER)
    assert driver.poll(bay.seconds(1.5))[-1].value == (400, 400, 0)
    driver.poll(bay.seconds(2.0))
    bay.run(bench, 0.5, 0.5, 0.9)
    assert driver.poll(bay.seconds(2.9))[-1].value == (400, 400, 0)


def test_other_faults_show_in_the_reports(bay):
    faults = ["at 0 s: range no echo", "at 0 s: stop input open", "at 1 s: battery low"]
    bench = bay.quiet_bench(faults=faults, walls=[[["3 m", "0 m"], ["3 m", "4 m"]]])
    drivers = {family: bay.device(bench, family) for family in ("range", "stop_input", "battery")}
    last = {family: driver.poll(bay.seconds(2.0))[-1].value for family, driver in drivers.items()}
    assert last["range"].distance is None
    assert last["stop_input"].closed is False
    assert last["battery"].volts == pytest.approx(0.78 * 12.6)


def test_a_frozen_camera_shows_what_it_saw_last(bay):
    bench = bay.quiet_bench(objects=[bay.jar(3.5, 2.0)], faults=["at 1 s: camera frozen"])
    camera = bay.device(bench, "camera")
    before = camera.poll(bay.seconds(0.95))[-1].value
    bay.run(bench, 0.3, 0.3, 1.0)
    assert camera.poll(bay.seconds(2.0))[-1].value == before


def test_a_jar_is_moved(bay):
    bench = bay.quiet_bench(objects=[bay.jar(3.0, 3.0)], faults=["at 1 s: jar 1 moved to [5 m, 1 m]"])
    bench.advance(bay.seconds(1.0))
    assert bench.objects[0][2:4] == (5.0, 1.0)
