"""What faults do on a wired line: real bytes on a pseudo-terminal, read by the real drivers."""

import itertools
from typing import Any

import pytest

from rover.bench.bench import Bench
from rover.bench.wired_hardware import BenchHardware
from rover.devices.protocols import DriverContext
from rover.devices.registry import load_driver
from rover.link.codec import decode, encode
from rover.link.emulated_firmware import CoProcessor
from rover.link.framing import Framer, SentenceError
from rover.link.sentences import CountsReport, HeadingReport, JawsReport, MotorCommand, Report
from rover.session.wired import wire

TICK_NS = 5_000_000


def bench_with(bay, *faults: str) -> Bench:
    return bay.quiet_bench(faults=[*faults])


def sent(bench: Bench, seconds: float, duty: float = 0.3) -> list[tuple[float, Any]]:
    """Return what a co-processor on the bench sends in a time, with when (s), while it is told to drive."""
    processor, framer, told = CoProcessor(BenchHardware(bench), 0), Framer(), []
    for step, now_ns in enumerate(range(0, round(seconds * 1e9), TICK_NS)):
        command = MotorCommand(1, step + 1, round(duty * 1000), round(duty * 1000), 250)
        processor.feed(encode(command) if step % 4 == 0 else b"", now_ns)
        for line in framer.feed(processor.due(now_ns)):
            try:
                told.append((now_ns * 1e-9, decode(line)))
            except SentenceError:
                told.append((now_ns * 1e-9, None))
    return told


def of(told: list[tuple[float, Any]], kind: type) -> list[tuple[float, Any]]:
    return [(time, value) for time, value in told if isinstance(value, kind)]


@pytest.mark.parametrize(("fault", "kind"), [("heading silent", HeadingReport), ("link silent", Report)])
def test_what_is_silent_sends_nothing(bay, fault, kind):
    times = [time for time, _ in of(sent(bench_with(bay, f"at 1 s: {fault} for 1 s"), 3.0), kind)]
    assert not [time for time in times if 1.02 < time < 2.0]
    assert times[0] < 1.0
    assert times[-1] > 2.0


def test_what_is_stuck_sends_the_same_again_and_again(bay):
    told = of(sent(bench_with(bay, "at 0 s: robot turned by 10 deg", "at 1 s: heading stuck",
                              "at 2 s: robot turned by 30 deg"), 3.0), HeadingReport)  # fmt: skip
    assert len({value.heading_cdeg for time, value in told if time > 0.5}) == 1


def test_a_bias_is_on_the_line_too(bay):
    told = of(sent(bench_with(bay, "at 1 s: heading biased by 20 deg"), 2.0), HeadingReport)
    assert told[-1][1].heading_cdeg - told[5][1].heading_cdeg == pytest.approx(-2000, abs=2)


def test_a_heading_without_rate_is_sent_without(bay):
    told = of(sent(bench_with(bay, "at 1 s: heading without rate"), 2.0), HeadingReport)
    assert [told[at][1].rate_cdps for at in (0, -1)] == [0, None]


def test_a_drift_and_a_lag_are_on_the_line_too(bay):
    told = of(sent(bench_with(bay, "at 1 s: heading drifting by 20 deg/s"), 2.0), HeadingReport)
    assert told[-1][1].heading_cdeg - told[5][1].heading_cdeg == pytest.approx(-2000, abs=120)
    turned = of(sent(bench_with(bay, "at 1 s: heading lagging by 1 s", "at 2 s: robot turned by 30 deg"), 4.0),
                HeadingReport)  # fmt: skip
    first = min(time for time, value in turned if value.heading_cdeg != turned[0][1].heading_cdeg)
    assert first == pytest.approx(3.0, abs=0.1)


def test_late_sentences_come_late_and_none_is_lost(bay):
    told = of(sent(bench_with(bay, "at 1 s: counts late by 200 ms"), 3.0), CountsReport)
    late = [time - value.device_ms / 1000.0 for time, value in told]
    assert late[5] == pytest.approx(0.0, abs=0.01)
    assert late[-1] == pytest.approx(0.2, abs=0.01)
    assert {later.sequence - earlier.sequence for (_, earlier), (_, later) in itertools.pairwise(told)} == {1}


def test_garbled_sentences_are_refused_by_their_checks(bay):
    told = of(sent(bench_with(bay, "at 0 s: counts garbled by 30 %"), 20.0), CountsReport)
    numbers = [value.sequence for _, value in told]
    lost = sum(later - earlier - 1 for earlier, later in itertools.pairwise(numbers))
    assert lost / (numbers[-1] + 1) == pytest.approx(0.3, abs=0.06)


def test_commands_on_a_silent_line_do_not_arrive_and_the_wheels_stand(bay):
    bench = bench_with(bay, "at 1 s: link silent")
    told = sent(bench, 2.0)
    assert told
    assert bench.base.speed == 0.0


def test_garbled_commands_are_refused_and_the_next_one_is_obeyed(bay):
    bench = bench_with(bay, "at 0 s: link garbled by 40 %")
    sent(bench, 3.0)
    assert bench.base.speed > 0.1


def test_a_reboot_changes_the_boot_number_and_counts_from_zero(bay):
    bench = bench_with(bay, "at 2 s: link rebooting for 1 s")
    told = of(sent(bench, 4.0), CountsReport)
    first, behind = [value for time, value in told if time < 2.0], [value for time, value in told if time > 2.02]
    assert {value.boot for value in first} == {1}
    assert {value.boot for value in behind} == {2}
    assert behind[0].left < 30 < first[-1].left
    assert behind[0].device_ms < 100
    assert behind[-1].left > 100


def test_a_drive_that_is_stuck_goes_on(bay):
    bench = bench_with(bay, "at 1 s: drive stuck")
    hardware = BenchHardware(bench)
    hardware.drive(0.3, 0.3, 900_000_000)
    hardware.drive(0.0, 0.0, 1_100_000_000)
    bench.advance(bay.seconds(2.0))
    assert bench.base.speed > 0.1


def test_a_gripper_hears_nothing_and_says_the_opposite(bay):
    bench = bench_with(bay, "at 1 s: gripper silent", "at 2 s: gripper reversed")
    hardware = BenchHardware(bench)
    hardware.sample(bay.seconds(1.5))
    hardware.servo(0.0011, bay.seconds(1.5))
    assert hardware.sample(bay.seconds(1.9)).opening == 1.0
    assert hardware.sample(bay.seconds(2.5)).opening == 0.0
    assert not [time for time, _ in of(sent(bench_with(bay, "at 0 s: gripper silent"), 1.0), JawsReport) if time > 0.02]


@pytest.mark.parametrize("fault", ["heading silent for 2 s", "link garbled by 100 % for 2 s"])
def test_real_drivers_behind_a_pseudo_terminal_lose_a_device_and_get_it_back(bay, fault):
    """The reports stop for as long as the fault lasts, by the stamps that the drivers give them."""
    robot = bay.robot(heading={"driver": "co_processor"}, counts={"driver": "co_processor"})
    bench = Bench(bay.bench_file(faults=[f"at 2 s: {fault}"]), robot, bay.errand(), 1)
    with wire(robot, bench, 4.0) as wiring:
        context = DriverContext(robot, 1, wiring.links, bench, name="heading")
        driver = load_driver("heading", "co_processor")(robot.devices.heading.options, context)
        now_ns, taken = 0, []
        while now_ns < bay.seconds(6.0):
            now_ns = wiring.next_step(now_ns, 20_000_000)
            bench.advance(now_ns)
            taken += [reading.taken_ns * 1e-9 for reading in driver.poll(now_ns)]
    gaps = [(earlier, later) for earlier, later in itertools.pairwise(taken) if later - earlier > 1.0]
    assert [*gaps[0]] == pytest.approx([2.0, 4.0], abs=0.25)
    assert len(gaps) == 1
