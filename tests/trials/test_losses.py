"""Which losses there are, what the robot file wants of the wheels then, and how the matrix is shown."""

import json
import shlex
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from rover.errors import UserError
from rover.session.assembly import Assembly, assemble
from rover.trials.campaign import command_of
from rover.trials.losses import Cell, Loss, Matrix, Outcome, cells, chosen, losable
from rover.trials.losses_page import write_losses
from rover.trials.losses_text import as_json, lines
from rover.trials.observe import Demands, demands
from rover.trials.trial import Trial
from rover.trials.verdict import Motion, Observed, judge

CONFIG = Path(__file__).parents[2] / "config"
BASE = Cell(Trial(0, "", CONFIG / "greenhouse.yaml", 7))
WAYS = {"heading": {"silent": "heading silent", "lying": "heading biased by 30 deg"}, "link": {"silent": "link silent"}}
AT_S = {"seek/look": 0.02, "bring_home/return": 27.8}


@pytest.fixture(scope="module")
def greenhouse() -> Assembly:
    return assemble(CONFIG / "greenhouse.yaml", {})


def test_each_device_is_lost_each_way_in_each_state_for_a_while_and_for_good() -> None:
    found = [cell.loss.line for cell in cells(BASE, AT_S, WAYS) if cell.loss is not None]
    assert len(found) == len(set(found)) == 2 * 3 * 2
    assert found[:3] == [
        "on entering seek/look: heading silent for 3 s",
        "on entering seek/look: heading silent",
        "on entering seek/look: heading biased by 30 deg for 3 s",
    ]


def test_a_cell_has_its_loss_among_what_is_given_and_the_command_says_so() -> None:
    cell = list(cells(BASE, AT_S, WAYS))[6]
    assert (cell.lost_s, cell.trial.given.faults) == (27.8, ("on entering bring_home/return: heading silent for 3 s",))
    words = shlex.split(command_of(cell.trial, [Path("my folder")]))
    assert words[:2] == ["rover", "rehearse"]
    assert words[3:] == ["--seed", "7", "--fault", *cell.trial.given.faults, "--drivers", "my folder"]


def test_the_robots_own_devices_are_lost_and_the_line_that_they_are_on(greenhouse: Assembly) -> None:
    found = losable(greenhouse)
    assert list(found.ways) == ["drive", "counts", "heading", "range", "camera", "gripper", "battery", "link"]
    assert all(set(ways) == {"silent", "stuck", "lying"} for name, ways in found.ways.items() if name != "link")
    assert found.left_out == ()


def test_own_drivers_are_left_out_and_said(greenhouse: Assembly) -> None:
    devices = greenhouse.robot.devices
    own = devices.camera.model_copy(update={"driver": "my_lab.eye:Eye"}) if devices.camera else None
    robot = greenhouse.robot.model_copy(update={"devices": devices.model_copy(update={"camera": own})})
    found = losable(Assembly(**{**vars(greenhouse), "robot": robot}))
    assert "camera" not in found.ways
    assert found.left_out == ("camera: its driver is your own, 'my_lab.eye:Eye', and the bench has no part in it",)


def test_on_a_simulation_of_ones_own_nothing_can_be_lost(greenhouse: Assembly) -> None:
    assert greenhouse.bench is not None
    bench = greenhouse.bench.model_copy(update={"simulation": "my_world:World"})
    with pytest.raises(UserError, match="the simulation 'my_world:World'"):
        losable(Assembly(**{**vars(greenhouse), "bench": bench}))


def test_a_name_stands_for_a_state_and_for_those_in_it() -> None:
    known = ["seek/look", "seek/relocate", "seeker", "home"]
    assert chosen(["seek"], known, "state") == ["seek/look", "seek/relocate"]
    assert chosen(["home", "seeker"], known, "state") == ["seeker", "home"]
    assert chosen([], known, "state") == known
    with pytest.raises(UserError, match=r"no state 'hom' here \(there is: seek/look, .*\); did you mean 'home'"):
        chosen(["hom"], known, "state")


RAMP_S = 0.5  # of the cart: 0.4 m/s at 1 m/s^2 is 0.4 s, and a sample is a tenth


@pytest.mark.parametrize(
    ("device", "way", "stand_s", "slowly_s"),
    [
        ("counts", "silent", 0.2 + 1.0 + RAMP_S, None),  # overdue after 200 ms, then a second more
        ("heading", "silent", 0.3 + 20.0 + RAMP_S, None),
        ("range", "silent", None, 0.3 + RAMP_S + 1.0),
        ("link", "silent", 0.3 + RAMP_S, None),  # counts and heading together
        ("battery", "silent", None, None),
        ("drive", "silent", None, None),  # it reports nothing
        ("counts", "stuck", None, None),  # nobody says when that is to be noticed
    ],
)
def test_what_the_robot_file_wants_of_the_wheels(
    greenhouse: Assembly, device: str, way: str, stand_s: float | None, slowly_s: float | None
) -> None:
    never = Demands()
    wanted = demands(greenhouse.robot, Loss("seek/look", device, way, "", ""))
    assert wanted.stand_s == pytest.approx(never.stand_s if stand_s is None else stand_s)
    assert wanted.slowly_s == pytest.approx(never.slowly_s if slowly_s is None else slowly_s)


def matrix(up_to: int = 12) -> Matrix:
    """Return a matrix with one cell of each outcome, and the others done; fewer as after an interrupt."""

    def outcome(cell: Cell) -> Outcome:
        seen: Mapping[str, Any] = {
            "heading biased by 30 deg": {"result": "failed", "is_success": False, "motion": Motion(rolled_m=2.0)},
            "link silent": {"result": "stopped", "reason": "<position> lost", "is_success": False, "stopped_s": 30.0},
        }.get(cell.loss.words if cell.loss and not cell.loss.lasts else "", {})
        values = {
            "result": "done",
            "reason": "all_in",
            "is_success": True,
            "ended_s": 30.0,
            "motion": Motion(29.0),
            "lost_s": cell.lost_s,
        }
        observed = Observed(**{**values, **seen})
        return Outcome(cell.loss, observed, judge(observed), command_of(cell.trial))

    outcomes = tuple(map(outcome, cells(BASE, AT_S, WAYS)))[:up_to]
    return Matrix("Bring <all>", "greenhouse.yaml", 7, outcome(BASE), AT_S, WAYS, ("eye: is own",), outcomes)


def test_the_lines_have_a_block_for_each_state_and_every_wrong_one_with_its_command() -> None:
    text = list(lines(matrix()))
    assert text[0] == "without a loss: done (all_in) after 30.0 s"
    assert "lost on entering bring_home/return, at 27.8 s" in text
    assert [" ".join(line.split()) for line in text if line.startswith("link")] == [
        "link done 30.0 s stopped 30.0 s - -",
        "link done 2.2 s stopped 2.2 s - -",
    ]
    assert [shlex.split(line)[-1] for line in text if line.startswith("    rover")] == [
        "on entering seek/look: heading biased by 30 deg",
        "on entering bring_home/return: heading biased by 30 deg",
    ]
    assert text[-1] == "12 losses: 8 done, 0 ended safely, 2 stopped safely, 2 WRONG (moved 2)"


def test_after_an_interrupt_what_is_there_is_shown() -> None:
    text = list(lines(matrix(up_to=4)))
    assert text[-1] == "4 of 12 losses: 3 done, 0 ended safely, 0 stopped safely, 1 WRONG (moved 1)"
    assert "link     -              -" in "\n".join(text)


def test_json_has_every_cell_with_its_command() -> None:
    values = json.loads(json.dumps(as_json(matrix())))
    assert (values["wrong"], values["planned"], len(values["cells"])) == (2, 12, 12)
    cell = values["cells"][3]
    assert (cell["verdict"], cell["kind"], cell["lasts_s"], cell["way"]) == ("WRONG", "moved", None, "lying")
    assert values["cells"][2]["lasts_s"] == 3.0
    assert shlex.split(cell["command"])[-1] == cell["line"]


def test_the_page_stands_alone_and_each_cell_opens_on_its_command(tmp_path: Path) -> None:
    page = write_losses(matrix(), tmp_path / "losses.html").read_text("utf-8")
    assert "Bring &lt;all&gt;" in page
    assert "&lt;position&gt; lost" in page
    assert page.count("<details") == 12
    assert page.count('class="sign W"') == 1 + 2 + 2 + 2  # the key, the matrix, the list, the tables
    assert not any(word in page for word in ("http:", "https:", "<script", "src="))
    targets = {part.partition('"')[0] for part in page.split('href="#')[1:]}
    assert targets == {part.partition('"')[0] for part in page.split('<details id="')[1:]}
