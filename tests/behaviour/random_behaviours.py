"""Random behaviours and random signals, and an interpreter of the rules to hold the engine against.

`Reference` is an interpreter of the raw YAML, written from the rules alone: nothing is compiled, every window is the
whole history of its samples. The language is covered but for `with`, `from` and settings. Devices come and go, report
at their own paces with taken-at times of their own, give NaN; activities end; the operator resumes.
"""

import math
import random
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

import yaml
from hypothesis import strategies as st

from rover.activities.registry import specs
from rover.behaviour.build import Builder
from rover.behaviour.engine import Engine
from rover.behaviour.vocabulary import Signals
from rover.files import load

DEVICES = ("camera", "range", "battery")
NAN = math.nan

# text -> (devices it reads, what it is in a known; ZeroDivisionError and None stand for unknown)
CONDITIONS = {
    "target.seen": (("camera",), lambda w: w["target_seen"]),
    "not target.seen": (("camera",), lambda w: not w["target_seen"]),
    "range.distance < 30 cm": (("range",), lambda w: known(w["range_distance"]) and w["range_distance"] < 0.3),
    "not range.distance < 30 cm": (("range",), lambda w: known(w["range_distance"]) and not w["range_distance"] < 0.3),
    "target.seen and range.echo": (("camera", "range"), lambda w: w["target_seen"] and w["range_echo"]),
    "battery.volts < 10 V or target.known": (
        ("battery",),
        lambda w: known(w["battery_volts"]) and (w["battery_volts"] < 10 or w["target_known"]),
    ),
    "not camera.ok": ((), lambda w: not w["camera_ok"]),
    "target.known": ((), lambda w: w["target_known"]),
    "not target.known": ((), lambda w: not w["target_known"]),
    "objects.left / objects.known <= 1": ((), lambda w: w["objects_left"] / w["objects_known"] <= 1),
    "objects.left == 1": ((), lambda w: w["objects_left"] == 1),
    "true": ((), lambda w: True),
}
OUTCOMES = {
    "done": ((), lambda w: w["done"]),
    "failed": ((), lambda w: w["failed"]),
    "done or failed": ((), lambda w: w["done"] or w["failed"]),
    "not done": ((), lambda w: not w["done"]),
    "done and target.seen": (("camera",), lambda w: w["done"] and w["target_seen"]),
    "failed and objects.left == 1": ((), lambda w: w["failed"] and w["objects_left"] == 1),
}
ALL = CONDITIONS | OUTCOMES
PLAIN = [text for text, (devices, _) in ALL.items() if not devices and "/" not in text]
CONFIRMATIONS = ("1 of 2", "2 of 2", "2 of 3", "3 of 5", "for 100 ms", "for 250 ms")
TIMES = ("100 ms", "200 ms", "350 ms", "1 s")


def known(number):
    """Return True, unless the whole condition is unknown."""
    if math.isnan(number):
        raise ZeroDivisionError
    return True


def seconds(text):
    number, unit = text.split()
    return int(number) * (1_000_000 if unit == "ms" else 1_000_000_000)


@st.composite
def exits(draw, names, texts, confirmed, always):
    one = {}
    if draw(st.integers(0, 3)) == 0:
        one["after"] = draw(st.sampled_from(TIMES))
    else:
        one["when"] = draw(st.sampled_from(texts))
        if confirmed and draw(st.booleans()):
            one["confirm"] = draw(st.sampled_from(CONFIRMATIONS))
        if confirmed and draw(st.integers(0, 3)) == 0:
            one["until"] = draw(st.sampled_from(texts))
    one["go"] = draw(st.sampled_from(names))
    if always:
        one["except"] = sorted({one["go"], *draw(st.lists(st.sampled_from(names), max_size=1))})
    return one


@st.composite
def graphs(draw, depth, confirmed=True):
    """A graph of two to four states; the last may be final, the first is where it starts."""
    names = ["a", "b", "c", "d"][: draw(st.integers(2, 4))]
    texts = sorted(ALL) if confirmed else PLAIN
    in_always = [text for text in texts if text in CONDITIONS]
    states = {}
    for name in names:
        if name == names[-1] and draw(st.booleans()):
            states[name] = {"final": draw(st.sampled_from(["done", "failed"]))}
            continue
        nested = depth > 1 and draw(st.integers(0, 2)) == 0
        state = draw(graphs(depth - 1, confirmed)) if nested else {"does": "close_jaws"}
        state["exits"] = draw(st.lists(exits(names, texts, confirmed, False), max_size=3))
        states[name] = state
    if confirmed and len(names) > 2 and "final" not in states["a"] and draw(st.booleans()):
        states["a"]["tries"] = {"at_most": draw(st.integers(1, 3)), "go": names[-1]}
    always = draw(st.lists(exits(names, in_always, confirmed, True), max_size=2))
    return {"start": names[0], "always": always, "states": states}


def trace(seed, length):
    """Yield worlds: signals, which devices report and when their values were taken, how an activity ends, a resume."""
    draw = random.Random(seed)
    known = {f"{device}_ok": True for device in DEVICES} | {f"{device}_n": 0 for device in DEVICES}
    known |= {f"{device}_t": 0 for device in DEVICES} | {"now": 0, "end": None, "resume": False}
    lazy = draw.choice([0.05, 0.3, 0.8])  # how often things change
    for step in range(length):
        known = dict(known, end=None, resume=False)
        known["now"] += draw.choice([50, 50, 50, 100, 130]) * 1_000_000 if step else 0
        for device in DEVICES:
            if draw.random() < 0.08:
                known[f"{device}_ok"] = not known[f"{device}_ok"]
            if draw.random() < 0.5:
                known[f"{device}_n"] += 1
                known[f"{device}_t"] = max(known[f"{device}_t"], known["now"] - draw.choice([0, 20, 60]) * 1_000_000)
        for name, values in VALUES.items():
            if name not in known or draw.random() < lazy:
                known[name] = draw.choice(values)
        if draw.random() < 0.25:
            known["end"] = draw.choice(["done", "failed"])
        known["resume"] = step > 0 and draw.random() < 0.02
        yield known


VALUES = {
    "target_seen": [True, True, False],
    "range_distance": [0.1, 0.1, 0.5, NAN],
    "range_echo": [True, False],
    "battery_volts": [9.0, 12.0, NAN],
    "target_known": [True, False, False],
    "objects_left": [0, 1, 2],
    "objects_known": [0, 1, 2],
}


class Reference:
    """The rules, as plainly as they can be said. A scope is a path; '' is the whole behaviour."""

    def __init__(self, graph):
        self.top = graph
        self.path = []
        self.entered, self.progress, self.tries = {}, {}, Counter()
        self.history, self.sampled, self.answer = {}, {}, {}
        self.ending = None
        self.unknowns = self.diverted = 0

    def state(self, path):
        graph = self.top
        for name in path:
            graph = graph["states"][name]
        return graph

    def begin(self, known):
        self.enter_graph([], known)
        self.enter([self.top["start"]], known)
        self.note_ending()

    def enter(self, path, known):
        """Enter a state and, as far as it has a graph, what that starts with."""
        key, state = "/".join(path), self.state(path)
        self.path = path
        self.tries[key] += 1
        self.entered[key], self.progress[key] = known["now"], None
        self.empty([(key, "exits", index) for index in range(len(state.get("exits", [])))], known)
        if "states" in state:
            self.enter_graph(path, known)
            self.enter([*path, state["start"]], known)
        elif "final" in state and len(path) > 1:
            self.progress["/".join(path[:-1])] = state["final"]

    def enter_graph(self, path, known):
        graph, key = self.state(path), "/".join(path)
        self.entered.setdefault("", known["now"])
        for name in graph["states"]:
            self.tries["/".join([*path, name])] = 0
        self.empty([(key, "always", index) for index in range(len(graph["always"]))], known)

    def empty(self, places, known):
        for place in places:
            self.history[place], self.answer[place] = [], False
            self.sampled[place] = {device: known[f"{device}_n"] for device in DEVICES}

    def lists(self):
        """Return (place, exit, silent) of all active exits, first priority first (R1)."""
        found = []
        for depth in range(len(self.path)):
            outer, name = self.path[:depth], self.path[depth]
            graph = self.state(outer)
            if "final" not in graph["states"][name]:
                for index, one in enumerate(graph["always"]):
                    found.append((("/".join(outer), "always", index), one, name in one["except"]))
        for depth in range(len(self.path), 0, -1):
            for index, one in enumerate(self.state(self.path[:depth]).get("exits", [])):
                found.append((("/".join(self.path[:depth]), "exits", index), one, False))
        return found

    def step(self, known):
        fires = [(place, one) for place, one, silent in self.lists() if self.holds(place, one, known) and not silent]
        if fires:
            place, one = fires[0]
            outer = place[0].split("/") if place[0] else []
            outer = outer if place[1] == "always" else outer[:-1]
            self.enter([*outer, self.land(outer, one["go"])], known)
            self.note_ending()

    def land(self, outer, name):
        tries = self.state([*outer, name]).get("tries")
        if tries and self.tries["/".join([*outer, name])] >= tries["at_most"]:
            self.diverted += 1
            return self.land(outer, tries["go"])
        return name

    def note_ending(self):
        self.ending = self.state(self.path).get("final") if len(self.path) == 1 else None

    def holds(self, place, one, known):
        if "after" in one:
            return known["now"] - self.entered[place[0]] >= seconds(one["after"])
        parts = [ALL[one[key]] for key in ("when", "until") if key in one]
        devices = {device for names, _ in parts for device in names}
        lasting = one.get("confirm", "").startswith("for ")
        if not all(known[f"{device}_ok"] for device in devices):
            if lasting:
                self.history[place].append((0, None))
            return False
        if all(known[f"{device}_n"] > self.sampled[place][device] for device in devices):
            self.sampled[place] = {device: known[f"{device}_n"] for device in DEVICES}
            taken = max([known[f"{device}_t"] for device in devices], default=known["now"])
            self.history[place].append((taken, self.sample(place, one, known)))
        return self.confirmed(self.history[place], one.get("confirm", "1 of 1"))

    def sample(self, place, one, known):
        progress = self.progress.get(place[0])
        known = dict(known, done=progress == "done", failed=progress == "failed")
        try:
            truth = ALL[one["when"]][1](known)
            ends = "until" in one and ALL[one["until"]][1](known)
        except ZeroDivisionError:
            self.unknowns += 1
            return None
        if "until" in one:
            self.answer[place] = truth or (self.answer[place] and not ends)
            return self.answer[place]
        return truth

    def confirmed(self, history, confirm):
        if not history or history[-1][1] is None:
            return False
        if confirm.startswith("for "):
            run = []
            for taken, truth in history:
                run = [*run, taken] if truth else []
            return bool(run) and run[-1] - run[0] >= seconds(confirm[4:])
        needed, of = (int(number) for number in confirm.split(" of "))
        truths = [truth for _, truth in history if truth is not None]
        return sum(truths[-of:]) >= needed

    def end(self, progress):
        self.progress["/".join(self.path)] = progress

    def resume(self, known):
        outermost = self.path[0]
        self.tries[outermost] -= 1
        self.empty([("", "always", index) for index in range(len(self.top["always"]))], known)
        self.enter([outermost], known)


class Idle:
    def begin(self, state, values, entry):
        pass

    def cancel(self):
        pass

    def time_out(self, why):
        pass


def engine_of(graph):
    with TemporaryDirectory() as folder:
        file = Path(folder) / "behaviour.yaml"
        file.write_text(yaml.safe_dump({"behaviour": "Random", **graph}, sort_keys=False), encoding="utf-8")
        return Engine(Builder(specs()).build(load.load(file, "behaviour")), Idle())


def signals_of(known):
    signals = Signals()
    for name, value in known.items():
        if name not in ("now", "end", "resume"):
            setattr(signals, name, value)
    return signals


def is_leaf_at_work(graph, path):
    state = graph
    for name in path.split("/"):
        state = state["states"][name]
    return "does" in state
