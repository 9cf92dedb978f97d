"""Behaviours that come with the package are named by their name alone, from any folder."""

from pathlib import Path

import pytest

from rover.files import load, shipped
from rover.files.problems import FileProblems
from rover.session.assembly import check_behaviour

OWN = """
behaviour: Fetch one
start: fetch
states:
  fetch:
    from: NAME
    exits:
      - {when: done, go: got_it}
      - {when: failed, go: no_luck}
      - {after: 5 min, go: no_luck}
  got_it: {final: done}
  no_luck: {final: failed}
"""


def checked(folder: Path, name: str) -> list[str]:
    file = folder / "own.yaml"
    file.write_text(OWN.replace("NAME", name), encoding="utf-8")
    return list(check_behaviour(load.load(file, "behaviour"))[0].states)


def test_a_part_is_named_by_its_name(tmp_path):
    assert "fetch/confirm_grip" in checked(tmp_path, "pick_up")


def test_so_is_a_whole_behaviour_with_parts_of_its_own(tmp_path):
    assert "fetch/pick_up/confirm_grip" in checked(tmp_path, "collect")


def test_a_path_is_a_file_of_ones_own(tmp_path):
    with pytest.raises(FileProblems, match=r"there is no file .*collect\.yaml"):
        checked(tmp_path, "collect.yaml")


def test_a_name_that_none_has_is_refused_with_the_nearest(tmp_path):
    with pytest.raises(FileProblems, match=r"no behaviour of this name comes with rover; did you mean 'pick_up'\?"):
        checked(tmp_path, "pickup")


def test_one_of_ones_own_by_its_name_is_refused_with_its_path(tmp_path):
    (tmp_path / "dance.yaml").touch()
    with pytest.raises(FileProblems, match=r"one of your own is named by its path: dance\.yaml"):
        checked(tmp_path, "dance")


def test_names_are_told_apart_also_from_those_of_parts():
    assert len(shipped.shipped()) == len(list(shipped.FOLDER.rglob("*.yaml")))
