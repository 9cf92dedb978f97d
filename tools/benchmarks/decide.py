"""The decide step against a hand-written function: the same 200,000-step trace, identical decisions, and the ratio.

The behaviour is small but has what a real one has: a battery exit for the whole graph, confirmations by count and by
time, timers. The hand-written function is what a careful person would write for it, windows included. Beside it stand
the same graph done naturally with `transitions` (on a shorter trace, scaled), and the same behaviour with 200 more
states elsewhere, to show that they cost nothing.
"""

import random
import tempfile
import time
from pathlib import Path

from decide_by_hand import HandWritten, natural_transitions

from rover.activities.registry import specs
from rover.behaviour.build import Builder
from rover.behaviour.engine import Engine
from rover.behaviour.vocabulary import Signals
from rover.files import load

STEPS = 200_000
STEP_NS = 20_000_000

BEHAVIOUR = """\
behaviour: Decide benchmark
start: look
always:
  - {when: battery.rest_volts < 10.2 V, confirm: for 2 s, go: home, except: [home]}
states:
  look:
    does: sweep
    exits:
      - {when: target.seen, confirm: 3 of 5, go: approach}
      - {after: 25 s, go: look}
  approach:
    does: stand_still
    exits:
      - {when: target.distance < 20 cm, confirm: 2 of 3, go: grip}
      - {when: not target.seen, confirm: for 3 s, go: look}
      - {after: 30 s, go: look}
  grip:
    does: stand_still
    exits:
      - {when: target.in_jaws, confirm: 4 of 5, go: look}
      - {after: 4 s, go: approach}
  home:
    does: stand_still
    exits:
      - {when: battery.rest_volts > 10.8 V, confirm: for 2 s, go: look}
      - {after: 60 s, go: look}
  never: {final: done}
"""


class Performer:
    """Performs nothing, but notes when which state was entered."""

    def __init__(self):
        self.now = 0
        self.decisions = []

    def begin(self, state, values, entry):
        self.decisions.append((self.now, state.path))

    def cancel(self):
        pass

    def time_out(self, why):
        pass


class TimedEngine(Engine):
    """The engine, with the time that changes of state take told apart from that of deciding."""

    changing = 0.0

    def _take(self, number, now_ns, signals):
        begun = time.perf_counter()
        self._performer.now = now_ns
        super()._take(number, now_ns, signals)
        self.changing += time.perf_counter() - begun


def graph(text):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "behaviour.yaml"
        path.write_text(text)
        return Builder(specs()).build(load.load(path, "behaviour"))


def with_states_elsewhere(text, count):
    lines = []
    for number in range(count):
        lines.append(f"  other_{number}:")
        lines.append("    does: stand_still")
        lines.append("    exits:")
        lines += [f"      - {{when: pose.x > {index + 1} m, go: never}}" for index in range(4)]
        lines.append("      - {after: 9 s, go: never}")
    return text.replace("  never: {final: done}", "\n".join(lines) + "\n  never: {final: done}")


def trace():
    """Return per step what changes: (camera report or None, battery report or None)."""
    draws = random.Random(1)
    rows = []
    volts, seen = 11.5, False
    for step in range(STEPS):
        frame = battery = None
        if step % 5 == 0:
            if draws.random() < 0.03:
                seen = not seen
            frame = (seen and draws.random() > 0.05, draws.uniform(0.1, 1.0), draws.random() < 0.4)
        if step % 25 == 0:
            volts = min(12.0, max(9.8, volts + draws.gauss(0.0, 0.05)))
            battery = volts
        rows.append((frame, battery))
    return rows


def play(rows, decider, signals):
    """Run a decider over the trace and return the seconds; filling the signals is in it, the same for all."""
    now = 0
    begun = time.perf_counter()
    for frame, battery in rows:
        now += STEP_NS
        if frame is not None:
            signals.camera_n += 1
            signals.camera_t = now
            signals.target_seen, signals.target_distance, signals.target_in_jaws = frame
        if battery is not None:
            signals.battery_n += 1
            signals.battery_t = now
            signals.battery_rest_volts = battery
        decider.step(now, signals)
    return time.perf_counter() - begun


def fill_only(rows, signals):
    """Return the seconds that filling the signals takes by itself."""
    now = 0
    begun = time.perf_counter()
    for frame, battery in rows:
        now += STEP_NS
        if frame is not None:
            signals.camera_n += 1
            signals.camera_t = now
            signals.target_seen, signals.target_distance, signals.target_in_jaws = frame
        if battery is not None:
            signals.battery_n += 1
            signals.battery_t = now
            signals.battery_rest_volts = battery
    return time.perf_counter() - begun


def fresh_signals():
    signals = Signals()
    signals.camera_ok = signals.battery_ok = True
    signals.battery_rest_volts = 11.5
    signals.target_distance = 1.0
    return signals


def run_compiled(rows, text):
    """Return (seconds deciding, seconds changing state, decisions)."""
    signals, performer = fresh_signals(), Performer()
    engine = TimedEngine(graph(text), performer)
    engine.begin(0, signals)
    performer.decisions.clear()
    seconds = play(rows, engine, signals)
    return seconds - engine.changing, engine.changing, performer.decisions


def run_hand_written(rows):
    """As `run_compiled`."""
    signals = fresh_signals()
    hand = HandWritten(signals)
    seconds = play(rows, hand, signals)
    return seconds, 0.0, hand.decisions


def measure():
    """Return (rows of (what, us a step, ratio to hand-written), us a change, number of changes).

    Asserts that the decisions are identical.
    """
    rows = trace()
    runs = {
        "hand-written": lambda: run_hand_written(rows),
        "compiled": lambda: run_compiled(rows, BEHAVIOUR),
        "compiled, 200 states more": lambda: run_compiled(rows, with_states_elsewhere(BEHAVIOUR, 200)),
    }
    times = dict.fromkeys(runs, float("inf"))
    empty = changing = float("inf")
    decisions = {}
    for _ in range(5):  # turn about, so that a slow moment of the machine meets all of them
        empty = min(empty, fill_only(rows, fresh_signals()))
        for name, run in runs.items():
            seconds, spent, decisions[name] = run()
            times[name] = min(times[name], seconds)
            if name == "compiled":
                changing = min(changing, spent)
    assert decisions["compiled"] == decisions["hand-written"], "the decisions differ"
    assert decisions["compiled, 200 states more"] == decisions["hand-written"], "the decisions differ"
    signals = fresh_signals()
    times["transitions, done naturally"] = 10 * play(rows[: STEPS // 10], natural_transitions(signals), signals)
    reference = times["hand-written"] - empty
    table = [(name, (value - empty) / STEPS * 1e6, (value - empty) / reference) for name, value in times.items()]
    changes = len(decisions["compiled"])
    return table, changing / changes * 1e6, changes


def main():
    table, change, changes = measure()
    print(f"{STEPS:,} steps, {changes} changes of state, identical decisions; a change takes {change:.0f} us more")
    print(f"{'':32}us a step   times hand-written")
    for name, microseconds, ratio in table:
        print(f"{name:32}{microseconds:9.3f}   {ratio:9.2f}")


if __name__ == "__main__":
    main()
