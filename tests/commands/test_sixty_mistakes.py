"""Each of sixty mistakes is named with its place and its cure, and not buried under others."""

import shlex
import shutil
from pathlib import Path

import pytest
import yaml

from rover.commands import main as cli

ROOT = Path(__file__).parents[2]
MISTAKES = yaml.safe_load(Path(__file__).with_name("sixty_mistakes.yaml").read_text("utf-8"))


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for folder in ("behaviours", "config"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_is_named_with_its_place_and_its_cure(
    name: str, project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mistake = MISTAKES[name]
    for file, edits in mistake.get("edits", {}).items():
        text = (project / file).read_text("utf-8")
        for old, new in edits:
            assert text.count(old) == 1
            text = text.replace(old, new)
        (project / file).write_text(text, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        cli.main(shlex.split(mistake["command"]))
    assert ended.value.code == cli.UNUSABLE
    told = capsys.readouterr().err.splitlines()
    place, words = mistake["says"]
    assert [line for line in told if line.startswith(place) and words in line], told
    assert len(told) <= 5


def test_there_are_sixty_of_them() -> None:
    assert len(MISTAKES) == 60
