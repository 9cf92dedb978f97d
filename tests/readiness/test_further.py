"""Bring-up of what a person has added: further devices, and outputs that can be seen."""

import sys

import pytest

from rover.devices.readings import RangeValue
from rover.readiness.finding import Verdict
from rover.readiness.values import in_words

pytestmark = [
    pytest.mark.real_time,
    pytest.mark.filterwarnings("ignore:Exception ignored in. <function Popen.__del__"),
]

OWN = """
from rover import Fault, Reading


class Bumper:
    def __init__(self, options, context):
        self.due_ns, self.sequence, self.value = 0, 0, options.get("says", "well")

    def poll(self, now_ns):
        if now_ns < self.due_ns or self.value == "nothing":
            return []
        self.due_ns, self.sequence = now_ns + 40_000_000, self.sequence + 1
        value = Fault("a broken wire") if self.value == "fault" else {"pressed": False, "force": 1.5}
        return [Reading(now_ns, self.sequence, value)]

    def close(self):
        pass


class Lamp:
    def __init__(self, options, context):
        self.log = options["log"]

    def apply(self, command, now_ns):
        with open(self.log, "a") as log:
            log.write(f"{command.value:g} ")

    def close(self):
        pass
"""
BUMPER = """\
  bumper:
    driver: "my_things:Bumper"
    rate: 20 Hz
    says: SAYS
    signals: {pressed: yes or no, force: number}
"""


@pytest.fixture
def own(tmp_path, monkeypatch):
    (tmp_path / "my_things.py").write_text(OWN)
    monkeypatch.syspath_prepend(str(tmp_path))
    yield tmp_path
    sys.modules.pop("my_things", None)


@pytest.mark.usefixtures("own")
class TestFurther:
    def test_each_is_told_with_what_it_says_and_how_often(self, stand):
        stand.put(BUMPER.replace("SAYS", "well"))
        finding = stand.find("further")
        assert finding.verdict is Verdict.AS_EXPECTED, finding
        assert finding.measured.startswith("bumper: pressed no, force 1.5, ")

    @pytest.mark.parametrize(("says", "told"), [("nothing", "no report"), ("fault", "a broken wire")])
    def test_one_that_does_not_report_is_not_as_expected(self, stand, says, told):
        stand.put(BUMPER.replace("SAYS", says))
        finding = stand.find("further")
        assert finding.verdict is Verdict.OTHERWISE
        assert finding.mistakes[0].startswith(f"bumper: {told}")


class TestOutputs:
    def lamp(self, own, trial=", trial: 100 %"):
        return f'outputs:\n  lamp: {{driver: "my_things:Lamp", rest: 0 %{trial}, log: "{own / "log"}"}}\n'

    def test_one_is_set_for_a_moment_and_the_person_says_what_was_to_be_seen(self, stand, own):
        stand.put(self.lamp(own))
        finding = stand.find("outputs", {"Did 'lamp'": "yes"})
        assert finding.verdict is Verdict.AS_EXPECTED, finding
        told = (own / "log").read_text().split()
        assert (told[0], "1" in told, told[-1]) == ("0", True, "0")

    def test_one_that_was_not_seen(self, stand, own):
        stand.put(self.lamp(own))
        assert stand.find("outputs", {"Did 'lamp'": "no"}).verdict is Verdict.OTHERWISE

    def test_without_a_trial_it_cannot_be_tried(self, stand, own):
        stand.put(self.lamp(own, trial=""))
        assert stand.find("outputs", {}).verdict is Verdict.NOT_TRIED


def test_values_in_words():
    assert in_words({"pressed": True, "shade": "dark", "height": 0.00451234, "marks": None}) == (
        "pressed yes, shade dark, height 0.004512"
    )
    assert in_words(RangeValue(0.5)) == "distance 0.5"
