"""Devices lost in rehearsals: what is deliberately broken shows as WRONG, what is sound on a kind bench does not."""

import pytest

from rover.files.given import Given
from rover.motion.limits import Allowed, Limits
from rover.session.assembly import with_user_activities
from rover.trials.losses import Cell, cells, losable
from rover.trials.observe import rehearse
from rover.trials.trial import Trial
from rover.trials.verdict import DONE, STOPPED, WRONG, judge

KIND = {
    "floor": {"track_factor": 1.5, "slip": "0 %", "slip_burst": "0 %", "heading_bias": "0 deg", "bias_step": "0 deg"},
    "motors": {"mismatch": "0 %"},
    "gripper": {"missed": "0 %", "dropped": "0 %"},
    "camera": {"false": "0 %", "flicker": "0 %"},
}
TEN_M = [["0 m", "0 m"], ["4 m", "0 m"], ["4 m", "3 m"], ["0 m", "3 m"]]
BLIND = """
from rover import Activity, ActivitySpec, Request

class Blind(Activity):
    spec = ActivitySpec("drives on, whatever happens")

    def step(self, known):
        return Request(speed=0.3)

class Touchy(Blind):
    def step(self, known):
        return Request(speed=0.1 / known.signals.heading_ok if known.now_ns > 1_000_000_000 else 0.0)
"""


def lost(path, device, way, state, lasts="", seed=2, without=""):
    """Rehearse an errand with one device lost, and judge it."""
    trial = Trial(0, "", path, seed, without=without)
    assembly, _ = with_user_activities(path, {})
    words = losable(assembly).ways[device][way]
    [cell] = [one for one in cells(Cell(trial), {state: 0.0}, {device: {way: words}}) if one.loss.lasts == lasts]
    return judge(rehearse(cell))


@pytest.fixture
def blind(files, monkeypatch, tmp_path):
    """An errand that drives towards the field's end for six seconds, from 80 cm before it; no wall is there."""
    (tmp_path / "blind.py").write_text(BLIND)
    monkeypatch.syspath_prepend(tmp_path)

    def state(activity, seconds, then):
        return {"does": f"blind:{activity}", "exits": [{"after": seconds, "go": then}, {"when": "failed", "go": then}]}

    def errand(activity, x="3.2 m"):
        states = {
            "drive": state(activity, "1 s", "on"),
            "on": state(activity, "5 s", "over"),
            "over": {"final": "done"},
        }
        files.write("blind.yaml", {"behaviour": "Drive on", "start": "drive", "states": states})
        field = {"boundary": TEN_M, "start": {"x": x, "y": "1.5 m", "heading": "0 deg"}}
        return files.errand(KIND, behaviour="blind.yaml", field=field, kinds=None, expect=None)

    return errand


def test_without_what_holds_counts_against_duties_a_stuck_encoder_takes_it_out_of_the_field(blind):
    assert lost(blind("Blind"), "counts", "stuck", "drive").outcome == STOPPED
    verdict = lost(blind("Blind"), "counts", "stuck", "drive", without="cross_checks")
    assert (verdict.outcome, verdict.kind) == (WRONG, "outside"), verdict.words


@pytest.mark.parametrize(("device", "way"), [("counts", "silent"), ("range", "silent"), ("camera", "stuck")])
def test_the_limits_hold_it_where_they_know(blind, device, way):
    assert lost(blind("Blind"), device, way, "drive").outcome == DONE


def test_what_an_own_activity_raises_for_want_of_a_device_is_an_error_with_its_traceback(blind):
    path = blind("Touchy")
    verdict = lost(path, "heading", "silent", "drive")
    assert (verdict.outcome, verdict.kind) == (WRONG, "error")
    assert verdict.words.startswith("ZeroDivisionError: ")
    assert lost(path, "range", "silent", "drive").outcome == DONE


def test_a_drive_that_is_stuck_goes_on_after_the_end_as_well(blind):
    verdict = lost(blind("Blind", x="1 m"), "drive", "stuck", "on")
    assert (verdict.outcome, verdict.kind) == (WRONG, "moved")
    assert verdict.words.startswith("went ")


def stopped(path):
    return judge(rehearse(Cell(Trial(0, "", path, 2, Given(faults=("at 2 s: stop pressed",))))))


def test_a_stop_is_safe_and_its_time_is_that_of_the_stop(blind):
    verdict = stopped(blind("Blind", x="1 m"))
    assert verdict.outcome == STOPPED
    assert verdict.after_s == pytest.approx(2.0, abs=0.05)


def test_a_core_that_drives_on_after_a_stop_is_seen(blind, monkeypatch):
    monkeypatch.setattr(Limits, "stop", lambda self: Allowed(0.2, 0.0, None))
    verdict = stopped(blind("Blind", x="1 m"))
    assert (verdict.outcome, verdict.kind) == (WRONG, "moved")
    assert verdict.words.startswith("wheels commanded for 3.0 s after a stop had latched; ")


def without_looking(files):
    """Let the behaviour hold what it has closed on for held, and carry it home without looking at it."""
    parts = files.folder / "behaviours/parts"
    for name, before, after in [
        ("pick_up", "{after: 2 s, go: back_off}", "{after: 2 s, go: held}"),
        ("bring_home", "confirm: for 1500 ms, go: lost}", "confirm: for 1500 ms, go: deposit}"),
        ("bring_home", "for settings.look_again", "for 5 min"),
    ]:
        text = (parts / f"{name}.yaml").read_text()
        assert before in text
        (parts / f"{name}.yaml").write_text(text.replace(before, after))


@pytest.mark.parametrize("looks", [True, False])
def test_also_a_behaviour_that_does_not_look_counts_nothing_that_is_not_there(files, small_bay, looks):
    if not looks:
        without_looking(files)
    path = files.errand({"objects": [small_bay.JAR], **KIND}, settings={"longest": "90 s"})
    assert lost(path, "gripper", "stuck", "pick_up/confirm_grip").kind == ""


def test_a_stuck_drive_goes_on_when_it_should_stand(files, small_bay):
    path = files.errand({"objects": [small_bay.JAR], **KIND}, settings={"longest": "90 s"})
    verdict = lost(path, "drive", "stuck", "pick_up/approach")  # which is entered at speed
    assert (verdict.outcome, verdict.kind) == (WRONG, "moved")


def test_a_sound_errand_on_a_kind_bench_shows_nothing_wrong(files, small_bay):
    """With what falls silent: that counts as missing, and is gone without."""
    path = files.errand({"objects": [small_bay.JAR], **KIND}, settings={"longest": "40 s"})
    base = Cell(Trial(0, "", path, 2))
    seen = rehearse(base)
    at_s = {"bring_home/return": seen.entered_s["bring_home/return"]}
    ways = {name: {"silent": f"{name} silent"} for name in ("counts", "range", "link")}
    verdicts = {cell.loss.line: judge(rehearse(cell)) for cell in cells(base, at_s, ways)}
    assert judge(seen).outcome == DONE
    assert len(verdicts) == 6
    assert {line: verdict for line, verdict in verdicts.items() if verdict.outcome == WRONG} == {}
