"""The decide benchmark's behaviour as a function written by hand, and done naturally with a library."""

from types import SimpleNamespace


class HandWritten:
    """What a careful person would write: if/elif over the state, windows as small integers."""

    def __init__(self, signals):
        self.state = "look"
        self.entered = 0
        self.bits = self.camera_n = self.battery_n = 0
        self.missing_since = self.low_since = self.charged_since = None
        self.low = self.charged = self.missing = False
        self.decisions = []

    def go(self, state, now, s):
        self.state, self.entered = state, now
        self.decisions.append((now, state))
        self.bits, self.camera_n = 0, s.camera_n
        self.missing_since = self.charged_since = None
        self.missing = self.charged = False

    def step(self, now, s):
        battery_new = s.battery_ok and s.battery_n != self.battery_n
        if battery_new:
            self.battery_n = s.battery_n
            if s.battery_rest_volts < 10.2:
                if self.low_since is None:
                    self.low_since = s.battery_t
                self.low = s.battery_t - self.low_since >= 2_000_000_000
            else:
                self.low_since, self.low = None, False
        state = self.state
        new = s.camera_ok and s.camera_n != self.camera_n
        if state == "look":
            if new:
                self.camera_n = s.camera_n
                self.bits = (self.bits << 1 | s.target_seen) & 31
            if self.low:
                self.go("home", now, s)
            elif self.bits.bit_count() >= 3:
                self.go("approach", now, s)
            elif now - self.entered >= 25_000_000_000:
                self.go("look", now, s)
        elif state == "approach":
            if new:
                self.camera_n = s.camera_n
                self.bits = (self.bits << 1 | (s.target_distance < 0.2)) & 7
                if s.target_seen:
                    self.missing_since, self.missing = None, False
                else:
                    if self.missing_since is None:
                        self.missing_since = s.camera_t
                    self.missing = s.camera_t - self.missing_since >= 3_000_000_000
            if self.low:
                self.go("home", now, s)
            elif self.bits.bit_count() >= 2:
                self.go("grip", now, s)
            elif self.missing or now - self.entered >= 30_000_000_000:
                self.go("look", now, s)
        elif state == "grip":
            if new:
                self.camera_n = s.camera_n
                self.bits = (self.bits << 1 | s.target_in_jaws) & 31
            if self.low:
                self.go("home", now, s)
            elif self.bits.bit_count() >= 4:
                self.go("look", now, s)
            elif now - self.entered >= 4_000_000_000:
                self.go("approach", now, s)
        elif state == "home":
            if battery_new:
                if s.battery_rest_volts > 10.8:
                    if self.charged_since is None:
                        self.charged_since = s.battery_t
                    self.charged = s.battery_t - self.charged_since >= 2_000_000_000
                else:
                    self.charged_since, self.charged = None, False
            if self.charged or now - self.entered >= 60_000_000_000:
                self.go("look", now, s)


def natural_transitions(signals):
    """The same graph done naturally with the `transitions` library: one trigger a step, guards as conditions."""
    from transitions import Machine

    hand = HandWritten(signals)

    class Model:
        now = 0

        def low(self):
            return hand.low

        def ready(self):
            need = {"look": 3, "approach": 2, "grip": 4}[self.state]
            return hand.bits.bit_count() >= need

        def late(self):
            limit = {"look": 25, "approach": 30, "grip": 4, "home": 60}[self.state]
            return hand.missing or hand.charged or self.now - hand.entered >= limit * 1_000_000_000

        def entered(self):
            hand.go(self.state, self.now, signals)

    model = Model()
    machine = Machine(model, states=["look", "approach", "grip", "home"], initial="look", after_state_change="entered")
    for source in ("look", "approach", "grip"):
        machine.add_transition("step", source, "home", conditions="low")
    for source, target in (("look", "approach"), ("approach", "grip"), ("grip", "look")):
        machine.add_transition("step", source, target, conditions="ready")
    for source, target in (("look", "look"), ("approach", "look"), ("grip", "approach"), ("home", "look")):
        machine.add_transition("step", source, target, conditions="late")

    def decide_step(now, s):
        hand.state = "none"
        hand.step(now, s)  # the battery's window
        hand.state = model.state
        sample(hand, s)
        model.now = now
        model.step()
        return model.state

    return SimpleNamespace(step=decide_step)


def sample(hand, s):
    """The windows of one state, apart from its decisions, for the library version."""
    if not (s.camera_ok and s.camera_n != hand.camera_n):
        return
    hand.camera_n = s.camera_n
    truth, width = {
        "look": (s.target_seen, 31),
        "approach": (s.target_distance < 0.2, 7),
        "grip": (s.target_in_jaws, 31),
    }.get(hand.state, (False, 0))
    hand.bits = (hand.bits << 1 | truth) & width
    if hand.state == "approach" and not s.target_seen:
        hand.missing_since = hand.missing_since or s.camera_t
        hand.missing = s.camera_t - hand.missing_since >= 3_000_000_000
    else:
        hand.missing_since, hand.missing = None, False
