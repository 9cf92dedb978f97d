"""Drivers that are wrong, each in one way; and one that is right."""

import math
import threading
import time

from rover import Detections, Frame, JawsValue, RangeValue, Reading


class Good:
    """A range finder as it should be."""

    def __init__(self, options, context):
        self.period_ns = round(1e9 / options["rate"])
        self.due_ns = self.sequence = 0

    def poll(self, now_ns):
        if now_ns < self.due_ns:
            return []
        self.due_ns, self.sequence = now_ns + self.period_ns, self.sequence + 1
        return [Reading(now_ns, self.sequence, self.value())]

    def value(self):
        return RangeValue(1.0)

    def close(self):
        pass


class ConstructorHangs(Good):
    def __init__(self, options, context):
        super().__init__(options, context)
        threading.Event().wait()


class NeedsAKey(Good):
    def __init__(self, options, context):
        super().__init__(options, context)
        options["pin"]


class NoClose:
    def __init__(self, options, context):
        pass

    def poll(self, now_ns):
        return []


class ClosesOnce(Good):
    is_open = True

    def close(self):
        if not self.is_open:
            raise OSError("the port is closed")
        self.is_open = False


class CloseHangs(Good):
    def close(self):
        threading.Event().wait()


class LeavesAThread(Good):
    def __init__(self, options, context):
        super().__init__(options, context)
        threading.Thread(target=threading.Event().wait, name="reader", daemon=True).start()


class LeavesAFile(Good):
    opened = []  # noqa: RUF012

    def __init__(self, options, context):
        super().__init__(options, context)
        self.opened.append(open("/dev/zero", "rb"))  # noqa: SIM115


class MadeOnce(Good):
    """Its pin is taken for good by the first one."""

    is_taken = False

    def __init__(self, options, context):
        super().__init__(options, context)
        if MadeOnce.is_taken:
            raise OSError("pin 17 is in use")
        MadeOnce.is_taken = True


class WaitsForItsSensor(Good):
    def value(self):
        time.sleep(0.06)
        return RangeValue(1.0)


class WaitsNowAndThen(Good):
    def poll(self, now_ns):
        if self.sequence == 2:
            time.sleep(0.3)
        return super().poll(now_ns)


class Hangs(Good):
    def poll(self, now_ns):
        if self.sequence == 2:
            threading.Event().wait()
        return super().poll(now_ns)


class Wedges(Good):
    """Once it has failed, its bus stays locked."""

    lock = threading.Lock()

    def poll(self, now_ns):
        if not Wedges.lock.acquire(blocking=False):
            return []
        if self.sequence == 3:
            raise OSError("no answer")
        Wedges.lock.release()
        return super().poll(now_ns)


class Hiccups(Good):
    """As it may be: it fails now and then, and goes on."""

    def poll(self, now_ns):
        readings = super().poll(now_ns)
        if self.sequence == 3:
            self.sequence += 1
            raise OSError("no answer")
        return readings


class FromAnotherTime(Good):
    """Stamps by the wall clock."""

    def poll(self, now_ns):
        return [reading._replace(taken_ns=time.time_ns()) for reading in super().poll(now_ns)]


class DeviceTime(Good):
    """Stamps by what its board counts from its own start."""

    def poll(self, now_ns):
        return [reading._replace(taken_ns=reading.sequence * 66_000_000) for reading in super().poll(now_ns)]


class NeverCounts(Good):
    def poll(self, now_ns):
        return [reading._replace(sequence=1) for reading in super().poll(now_ns)]


class NewestFirst(Good):
    def __init__(self, options, context):
        super().__init__(options, context)
        self.period_ns *= 2

    def poll(self, now_ns):
        return [
            one
            for reading in super().poll(now_ns)
            for one in (
                reading._replace(sequence=2 * reading.sequence),
                reading._replace(taken_ns=reading.taken_ns - 1000, sequence=2 * reading.sequence + 1),
            )
        ]


class ReturnsNone(Good):
    def poll(self, now_ns):
        return super().poll(now_ns) or None


class ReturnsNumbers(Good):
    def poll(self, now_ns):
        return [*super().poll(now_ns), 0.5]


class FloatTimes(Good):
    def poll(self, now_ns):
        return [reading._replace(taken_ns=float(reading.taken_ns)) for reading in super().poll(now_ns)]


class Millimetres(Good):
    def value(self):
        return RangeValue(1000.0)


class AnotherFamily(Good):
    def value(self):
        return JawsValue(0.5)


class OnlyChanges(Good):
    def poll(self, now_ns):
        return [] if self.sequence == 5 else super().poll(now_ns)


class TooOften(Good):
    def __init__(self, options, context):
        super().__init__(options, context)
        self.period_ns = 0


class Silent(Good):
    def poll(self, now_ns):
        return []


class OneBuffer(Good):
    """A camera that writes each frame into the same memory."""

    def __init__(self, options, context):
        import numpy

        super().__init__(options, context)
        self.buffer = numpy.zeros((480, 640, 3), numpy.uint8)

    def value(self):
        self.buffer[:] = 100 + self.sequence
        return Frame(self.buffer, 640, 480)


class GreyPictures(OneBuffer):
    def value(self):
        return Frame(self.buffer[:, :, 0].copy(), 640, 480)


class GoodCamera(Good):
    def value(self):
        return Detections(())


class Pressed(Good):
    """A bumper, of no family."""

    def value(self):
        return {"pressed": False}


class PressedInVolts(Pressed):
    def value(self):
        return {"pressed": 3.3}


class PressedByAnotherName(Pressed):
    def value(self):
        return {"presed": True}


class Jaws:
    """Jaws as they should be; `log` is what their servo was told."""

    log = []  # noqa: RUF012

    def __init__(self, options, context):
        pass

    def apply(self, command, now_ns):
        if command.opening is not None and not math.isfinite(command.opening):
            raise ValueError(f"an opening of {command.opening}")
        if now_ns < command.expires_ns:
            self.move(command.opening)

    def move(self, opening):
        self.log.append(opening)

    def close(self):
        pass


class JawsWithoutNone(Jaws):
    def move(self, opening):
        super().move(1000 + round(1000 * opening))


class JawsOfNaN(Jaws):
    def apply(self, command, now_ns):
        if now_ns < command.expires_ns:
            self.move(command.opening)


class JawsOfYesterday(Jaws):
    def apply(self, command, now_ns):
        super().apply(command, command.expires_ns - 1)


class JawsThatWait(Jaws):
    def move(self, opening):
        time.sleep(0.6)


class Lamp(Jaws):
    """An output: a lamp that is on or off."""

    def apply(self, command, now_ns):
        if now_ns < command.expires_ns:
            self.move(command.value)


class LampThatIsAlwaysOn(Lamp):
    def move(self, is_on):
        if not is_on:
            raise NotImplementedError


class LampOfYesterday(Lamp):
    def apply(self, command, now_ns):
        self.move(command.value)
