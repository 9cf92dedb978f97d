"""Records of runs on the robot, with a real guard and an emulated co-processor, replay without any of these."""

import os
import pty
import signal

from rover.events import Health, HealthChange, Note, StateChange, Stop
from rover.record.reader import read
from rover.session.replay import FROM_READINGS

from .replaying import replayed


def records(stand):
    return sorted((stand.folder / "runs").glob("*.sqlite"), key=lambda path: path.stat().st_mtime_ns)


def happened(stand):
    """Return what the record has of the run that is going on, as far as it is committed."""
    return [one.event for one in read(records(stand)[-1]).happenings]


def faulty(events):
    """Return the devices that were told to be faulty."""
    return {one.device for one in events if isinstance(one, HealthChange) and one.health is Health.FAULTY}


def test_stops_holds_and_a_device_that_was_lost_are_given_again(stand):
    raw = stand.folder / "in_voltage0_raw"
    raw.write_text("12000")
    battery = {"driver": "adc_file", "file": str(raw), "scale": "1 mV", "full": "12.6 V", "rate": "20 Hz"}
    stand.robot["devices"]["battery"] = battery
    stand.straight_on()
    stand.emulate()
    person, terminal = pty.openpty()
    process = stand.start("--enable-motion", stdin=terminal)
    stand.wait_until_moving()
    raw.rename(stand.folder / "away")
    stand.wait_for(lambda: "battery" in faulty(happened(stand)), "the battery is lost")
    (stand.folder / "away").rename(raw)
    os.write(person, b"h")
    stand.wait_for(lambda: Note("operator", "held: at the terminal; g goes on") in happened(stand), "held")
    os.write(person, b"g")
    stand.wait_for(lambda: Note("operator", "hold ended") in happened(stand), "going on")
    os.write(person, b"s")
    stand.wait_for(lambda: Stop("stopped at the terminal") in happened(stand), "stopped")
    os.write(person, b"r")
    stand.wait_for(lambda: (os.write(person, b"g"), stand.is_moving)[1], "moving again")
    stand.end(process, signal.SIGINT)
    os.close(person)
    os.close(terminal)

    found = replayed(records(stand)[-1])

    assert (found.difference, found.rounding.numbers, found.source) == (None, 0, FROM_READINGS)
    assert found.compared["commands"] == found.steps
    assert "resumed" in [change.exit for change in found.run.events_of(StateChange)]


def test_a_run_that_was_taken_up_again_and_killed(stand):
    stand.straight_on()
    stand.emulate()
    for more, end in (((), signal.SIGINT), (("--resume",), signal.SIGKILL)):
        process = stand.start("--enable-motion", *more)
        stand.wait_until_moving()
        stand.wait_for(lambda: len(read(records(stand)[-1]).track) > 20, "two seconds and more are written")
        process.send_signal(end)
        process.wait()
    first, second = records(stand)
    for record in (first, second):
        found = replayed(record)
        assert (found.difference, found.rounding.numbers) == (None, 0)
    assert "resumed" in found.run.header
    assert found.run.outcome is None
