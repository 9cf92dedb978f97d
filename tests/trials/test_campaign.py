"""A campaign: which trials it makes, what makes two the same, and the command that shows a trial."""

import shlex
from pathlib import Path

import pytest

from rover.commands.rehearse import command as rehearse
from rover.errors import UserError
from rover.files import yaml_source
from rover.files.given import Given
from rover.files.ranges import RangesFile
from rover.trials.campaign import Campaign, Variant, changed_since, command_of, name_of, program_digest, run_trial_twice
from rover.trials.trial import Trial, run_trial, why_not
from tests.trials.conftest import ShortErrand

RANGES = RangesFile.model_validate(
    {"ranges": "R", "draw": {"bench.floor.slip": {"between": ["0 %", "5 %"]}, "stands": {"one_of": ["1 s", "2 s"]}}}
)


def campaign(short: ShortErrand, **keys: object) -> Campaign:
    return Campaign(**{"variants": (Variant("", short.path),), "count": 4} | keys)


def test_seeds_follow_the_first(short: ShortErrand) -> None:
    trials = list(campaign(short, first_seed=5).trials())
    assert [(trial.number, trial.seed) for trial in trials] == [(1, 5), (2, 6), (3, 7), (4, 8)]


def test_all_variants_of_a_seed_have_the_same_draws(short: ShortErrand) -> None:
    variants = (Variant("a", short.path), Variant("b", short.path, {"bench.range.noise": "3 cm"}))
    one, other = list(campaign(short, variants=variants, ranges=RANGES).trials())[:2]
    assert one.drawn == other.drawn
    assert {**one.given.values, "bench.range.noise": "3 cm"} == other.given.values


def test_the_command_of_a_trial_shows_the_same_run(short: ShortErrand, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(short.folder)
    given = Given({"bench.camera.latency": ["10 ms", "20 ms"], "stands": "2 s"}, ("at 1 s: camera silent for 1 s",))
    trial = list(campaign(short, given=given, ranges=RANGES, first_seed=3).trials())[2]
    words = shlex.split(command_of(trial, (Path("my drivers"),)))
    assert words[:2] == ["rover", "rehearse"]
    chosen = rehearse.make_context("rehearse", words[2:-2]).params
    assert words[-2:] == ["--drivers", "my drivers"]
    again = Trial(3, "", chosen["errand"], chosen["seed"], Given(chosen["values"], chosen["faults"]), trial.drawn)
    assert run_trial(again) == run_trial(trial)


def test_a_trial_without_a_safeguard_is_shown_so(short: ShortErrand) -> None:
    (trial, *_) = campaign(short, variants=(Variant("w", short.path, without="tries"),)).trials()
    assert command_of(trial).endswith("--without tries")


def test_mistakes_are_found_before_anything_is_tried(short: ShortErrand) -> None:
    wild = RangesFile.model_validate({"ranges": "R", "draw": {"bench.range.missing": {"between": ["50 %", "120 %"]}}})
    with pytest.raises(UserError, match=r"--ranges: 'bench.range.missing'.*must lie between 0 % and 100 %"):
        campaign(short, ranges=wild).check()


def test_what_is_tried_and_with_what_makes_the_campaign(short: ShortErrand) -> None:
    def name(**keys: object) -> str:
        made = campaign(short, **keys)
        return name_of(made.plan(made.check()))

    first = name()
    assert name() == first
    others = [name(count=5), name(first_seed=2), name(given=Given({"stands": "2 s"})), name(ranges=RANGES)]
    short.does("stand_still", "failed")
    others.append(name())
    others.append(name(folders=(short.own("class Own(Activity): ..."),)))
    assert len({first, *others}) == len(others) + 1


@pytest.mark.parametrize("text", ["a: b", "yes", "3", "", "  x ", "- x", "[1", "near", "20 cm", "#"])
def test_a_text_is_shown_so_that_it_is_read_as_that(short: ShortErrand, text: str) -> None:
    (trial, *_) = campaign(short, given=Given({"errand.errand": text})).trials()
    shown = shlex.split(command_of(trial))[-1].removeprefix("errand.errand=")
    assert yaml_source.read_text(shown, Path(), "").values == text


def test_every_value_of_a_list_is_looked_at_first(short: ShortErrand) -> None:
    odd = RangesFile.model_validate({"ranges": "R", "draw": {"stands": {"one_of": ["1 s", "1 kg", "2 s"]}}})
    with pytest.raises(UserError, match="this setting is a time, but here it is a mass"):
        campaign(short, ranges=odd).check()


def test_what_is_given_is_not_changed_by_being_put_in_place(short: ShortErrand) -> None:
    given = Given({"bench.faults": []}, ("at 1 s: camera frozen",))
    campaign(short, given=given).check()
    assert given.values == {"bench.faults": []}


def test_a_file_that_is_changed_meanwhile_is_noticed(short: ShortErrand) -> None:
    made = campaign(short)
    assemblies = made.check()
    plan = made.plan(assemblies)
    assert not changed_since(plan, assemblies, ())
    short.does("stand_still", "failed")
    assert changed_since(plan, assemblies, ())


def test_a_link_to_nowhere_among_the_drivers_is_no_source(tmp_path: Path) -> None:
    (tmp_path / ".#mine.py").symlink_to("nobody@nowhere")
    assert program_digest((tmp_path,)) == program_digest(())


def test_twice_the_same_is_the_row_itself(short: ShortErrand) -> None:
    (trial, *_) = campaign(short).trials()
    assert run_trial_twice(trial) == run_trial(trial)


def test_what_is_not_the_same_twice_is_an_error(short: ShortErrand) -> None:
    source = """
STEPS = [0]

class Own(Activity):
    spec = ActivitySpec("turn on as often as it was asked before")

    def __init__(self, known, values):
        STEPS[0] += 1

    def step(self, known):
        return Request(turn_rate=0.1 * STEPS[0])
"""
    short.own(source)
    (trial, *_) = campaign(short).trials()
    assert why_not(run_trial_twice(trial)) == "error: not the same twice: other truth, digest"


def test_an_address_in_a_traceback_is_no_other_decision(short: ShortErrand) -> None:
    short.own("class Own(Activity):\n    def step(self, known):\n        raise ValueError(f'{object()}')\n")
    (trial, *_) = campaign(short).trials()
    assert why_not(run_trial_twice(trial)) == "failed (missed)"
