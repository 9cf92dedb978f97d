"""The PWM driver on a file tree laid out, and strict, as the kernel documents it."""

import errno
import math
import os
import pathlib
import subprocess
import sys
import threading
from contextlib import closing

import pytest

from rover.devices.kernel import pwm as kernel_pwm
from rover.devices.kernel.files import DeviceError
from rover.devices.kernel.pwm import PwmChannel, silence


def opened(pwm, channel=0):
    return closing(PwmChannel(0, channel, pwm.root))


def test_a_duty_is_a_share_of_the_period(pwm):
    pwm.add_channel(0)
    with opened(pwm) as channel:
        channel.configure(20_000.0)
        channel.set_duty(0.25)
        values = {name: pwm.value(0, name) for name in ("period", "duty_cycle", "enable", "polarity")}
        assert values == {"period": "50000", "duty_cycle": "12500", "enable": "1", "polarity": "normal"}


def test_a_pulse_is_a_time(pwm):
    pwm.add_channel(0)
    with opened(pwm) as channel:
        channel.configure(50.0)
        channel.set_pulse(0.0015)
        assert pwm.value(0, "duty_cycle") == "1500000"


def test_the_duty_falls_before_the_period_gets_shorter(pwm):
    pwm.add_channel(0, period=20_000_000, duty_cycle=15_000_000, enable=1)
    with opened(pwm) as channel:
        channel.configure(1_000_000.0)
    assert pwm.value(0, "period") == "1000"
    names = [name for _, name, text in pwm.written]
    assert names.index("duty_cycle") < names.index("period")


def test_polarity_is_made_normal_while_the_channel_is_disabled(pwm):
    pwm.add_channel(0, period=1000, duty_cycle=500, enable=1, polarity="inversed")
    with opened(pwm) as channel:
        channel.configure(1000.0)
        assert pwm.value(0, "polarity") == "normal"


def test_what_a_dead_process_left_running_is_off_once_the_channel_is_opened(pwm):
    pwm.add_channel(0, period=1000, duty_cycle=900, enable=1)
    with opened(pwm):
        assert pwm.is_silent(0)
    assert pwm.written[:2] == [(0, "duty_cycle", "0"), (0, "enable", "0")]


def test_closing_switches_off_gives_back_and_may_be_repeated(pwm):
    pwm.add_channel(0)
    channel = PwmChannel(0, 0, pwm.root)
    channel.configure(100.0)
    channel.set_duty(1.0)
    channel.close()
    channel.close()
    assert pwm.is_silent(0)
    assert (pwm.root / "pwmchip0" / "unexport").read_text() == "0\n"


@pytest.mark.parametrize("share", [-0.01, 1.01, math.nan, math.inf])
def test_a_duty_out_of_range_is_refused_and_changes_nothing(pwm, share):
    pwm.add_channel(0)
    with opened(pwm) as channel:
        channel.configure(100.0)
        channel.set_duty(0.5)
        with pytest.raises(ValueError, match="must lie between 0 and 1"):
            channel.set_duty(share)
        assert pwm.value(0, "duty_cycle") == "5000000"


@pytest.mark.parametrize("seconds", [-1e-6, 0.0201, math.nan, math.inf])
def test_a_pulse_out_of_range_is_refused(pwm, seconds):
    pwm.add_channel(0)
    with opened(pwm) as channel:
        channel.configure(50.0)
        with pytest.raises(ValueError, match="must lie between 0 and the period"):
            channel.set_pulse(seconds)


@pytest.mark.parametrize("frequency", [0.0, -1.0, math.nan, math.inf])
def test_a_frequency_that_is_none_is_refused(pwm, frequency):
    pwm.add_channel(0)
    with opened(pwm) as channel, pytest.raises(ValueError, match="must be above zero"):
        channel.configure(frequency)


def test_the_files_are_opened_when_the_kernel_has_made_them(pwm):
    """Here the export file is a pipe, and its reader makes the channel's files only when it is asked for them."""
    export = pwm.root / "pwmchip0" / "export"
    export.unlink()
    os.mkfifo(export)
    kernel = threading.Thread(target=lambda: pwm.add_channel(int(export.read_text())))
    kernel.start()
    with opened(pwm, 1) as channel:
        channel.configure(1000.0)
    kernel.join()
    assert pwm.value(1, "period") == "1000000"


def test_a_missing_chip_is_told_with_those_there(pwm):
    with pytest.raises(DeviceError, match=r"there is no PWM chip 3 in .* \(there: 0\); is the PWM overlay loaded\?"):
        PwmChannel(3, 0, pwm.root)


def failing_export(monkeypatch, code):
    write_text = pathlib.Path.write_text

    def fail(path, *arguments, **options):
        if path.name == "export":
            raise OSError(code, os.strerror(code), str(path))
        return write_text(path, *arguments, **options)

    monkeypatch.setattr(pathlib.Path, "write_text", fail)


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("EBUSY", "in use by the kernel or another program"),
        ("ENODEV", "the chip has only 2 channels"),
        ("EACCES", "permission denied"),
    ],
)
def test_a_refused_export_says_what_to_do(pwm, monkeypatch, code, said):
    failing_export(monkeypatch, getattr(errno, code))
    with pytest.raises(DeviceError, match=said):
        PwmChannel(0, 1, pwm.root)


def test_a_channel_that_never_appears_is_told(pwm, monkeypatch):
    monkeypatch.setattr(kernel_pwm, "_APPEAR_TRIES", 2)
    with pytest.raises(DeviceError, match="is not there"):
        PwmChannel(0, 1, pwm.root)


def test_a_channel_that_is_there_and_cannot_be_opened_is_told_without_waiting(pwm, monkeypatch):
    """The guard opens it, and must go on beating."""
    pwm.add_channel(0)
    (pwm.root / "pwmchip0" / "pwm0" / "duty_cycle").unlink()
    monkeypatch.setattr(kernel_pwm.time, "sleep", lambda seconds: pytest.fail("it waited"))
    with pytest.raises(DeviceError, match="is not there"):
        PwmChannel(0, 0, pwm.root)


def test_a_channel_belongs_to_one_process_at_a_time(pwm):
    pwm.add_channel(0)
    holder = "import sys, pathlib; from rover.devices.kernel.pwm import PwmChannel as C"
    holder += "; c = C(0, 0, pathlib.Path(sys.argv[1])); print('held', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", holder, str(pwm.root)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout.readline() == "held\n"
        with pytest.raises(DeviceError, match="in use by another process"):
            PwmChannel(0, 0, pwm.root)
        other.kill()
        other.wait()
        PwmChannel(0, 0, pwm.root).close()


def test_a_supervisor_silences_a_channel_that_another_holds(pwm):
    pwm.add_channel(0)
    with opened(pwm) as channel:
        channel.configure(100.0)
        channel.set_duty(0.8)
        silence(0, 0, pwm.root)
        assert pwm.is_silent(0)


def test_a_channel_that_is_not_exported_drives_nothing_and_is_silent_already(pwm):
    silence(0, 1, pwm.root)


@pytest.mark.parametrize("rates", [(20.0, 50_000.0), (50_000.0, 20.0), (50.0, 50.0), (1000.0, 333.3, 7777.7)])
def test_no_order_of_rates_breaks_the_kernels_rules(pwm, rates):
    pwm.add_channel(0)
    with opened(pwm) as channel:
        for rate in rates:
            channel.configure(rate)
            for share in (0.0, 1e-12, 0.999999999, 1.0):
                channel.set_duty(share)
    assert pwm.is_silent(0)
