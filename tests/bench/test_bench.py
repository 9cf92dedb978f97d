from pathlib import Path

import pytest

from rover.bench.bench import Bench
from rover.files import yaml_source
from rover.files.bench import BenchFile

CONFIG = Path(__file__).parents[2] / "config"
FAMILIES = ("counts", "heading", "range", "camera", "gripper", "battery", "stop_input")


def bench_file(name):
    return BenchFile.model_validate(yaml_source.read(CONFIG / name, name).values)


def journal(bay, name, seed, period_ns=20_000_000, order=FAMILIES):
    """Return all that one run shows from outside: reports by device, truth at the end."""
    bench = Bench(bench_file(name), bay.robot(), bay.errand(), seed)
    drivers = {family: bay.device(bench, family) for family in FAMILIES}
    reports = {family: [] for family in FAMILIES}
    for now_ns in range(0, bay.seconds(30.0) + 1, period_ns):
        bench.advance(now_ns)
        if now_ns % bay.seconds(1.0) == 0:
            turn = 0.2 if now_ns % bay.seconds(3.0) else -0.3
            bench.drive(0.5 - turn, 0.5 + turn, now_ns + bay.seconds(0.9))
            bench.jaws(0.0 if now_ns % bay.seconds(4.0) else 1.0)
        for family in order:
            reports[family] += drivers[family].poll(now_ns)
    return reports, bench.pose, bench.objects


def test_one_seed_gives_one_run(bay):
    assert journal(bay, "steel.yaml", 5) == journal(bay, "steel.yaml", 5)
    assert journal(bay, "steel.yaml", 5) != journal(bay, "steel.yaml", 6)


def test_a_run_does_not_depend_on_how_often_or_in_which_order_devices_are_polled(bay):
    usual = journal(bay, "steel.yaml", 5)
    assert journal(bay, "steel.yaml", 5, 20_000_000, FAMILIES[::-1]) == usual
    assert journal(bay, "steel.yaml", 5, 50_000_000)[1:] == usual[1:]


def test_switching_one_effect_off_leaves_the_others_as_they_were(bay):
    with_noise = bay.quiet_bench(3, scatter={"amber": 3}, heading={"noise": "1 deg"}, range={"missing": 0.5})
    without = bay.quiet_bench(3, scatter={"amber": 3}, range={"missing": 0.5})
    assert with_noise.objects == without.objects
    assert bay.reports(with_noise, "range", 5.0) == bay.reports(without, "range", 5.0)


def test_an_earlier_or_equal_time_changes_nothing(bay):
    bench = bay.quiet_bench()
    bench.drive(0.5, 0.5, bay.FOREVER)
    bench.advance(bay.seconds(1.0))
    pose = bench.pose
    bench.advance(bay.seconds(1.0))
    bench.advance(bay.seconds(0.5))
    assert bench.pose == pose


@pytest.mark.parametrize("name", ["bay.yaml", "mild.yaml", "steel.yaml"])
def test_the_named_floors_have_nine_jars(bay, name):
    bench = Bench(bench_file(name), bay.robot(), bay.errand(), 1)
    assert [thing.kind for thing in bench.objects] == ["amber"] * 3 + ["teal"] * 3 + ["violet"] * 3


def test_the_mild_floor_writes_out_the_defaults_and_the_bay_uses_them():
    mild, bay, steel = (bench_file(name) for name in ("mild.yaml", "bay.yaml", "steel.yaml"))
    sections = ("floor", "off_the_map", "motors", "battery", "counts", "heading", "range", "camera", "link", "gripper")
    for section in sections:
        for key, value in getattr(mild, section):
            assert value == pytest.approx(getattr(bay, section).__getattribute__(key)), f"{section}.{key}"
    assert steel.floor.heading_bias == pytest.approx(10 * mild.floor.heading_bias)


def test_every_key_is_explained():
    text = (CONFIG / "README.md").read_text()
    sections = {name: field.default for name, field in BenchFile.model_fields.items()}
    names = [*sections, *(key for section in sections.values() if hasattr(section, "model_dump") for key, _ in section)]
    assert [name for name in names if f"`{name}`" not in text] == []
