"""Who may do what: the token and its file, other sites, and how often."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.errors import UserError
from rover.page.access import MOST_PEERS, RateLimit, bearer, is_foreign, is_right, read_token, token_file


def test_the_token_is_made_once_and_only_its_user_may_read_it(tmp_path: Path) -> None:
    file = tmp_path / "new" / "page-token"
    token = read_token(file)
    assert len(token) >= 32
    assert read_token(file) == token
    assert file.stat().st_mode & 0o777 == 0o600
    assert [path.name for path in file.parent.iterdir()] == ["page-token"]
    assert read_token(tmp_path / "other") != token


@pytest.mark.parametrize(
    ("content", "mode", "said"),
    [
        ("a-token-that-is-long-enough", 0o640, "others may read the page's token (mode 640); chmod 600 it"),
        ("short", 0o600, "too short to be one; delete the file"),
        ("", 0o600, "too short to be one; delete the file"),
        ("not-in-ascii-\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9", 0o600, "cannot be read or made"),
    ],
)
def test_a_token_that_is_none_is_refused(tmp_path: Path, content: str, mode: int, said: str) -> None:
    file = tmp_path / "page-token"
    file.write_text(content, "utf-8")
    file.chmod(mode)
    with pytest.raises(UserError) as refused:
        read_token(file)
    assert said in str(refused.value)
    assert str(file) in str(refused.value)


def test_it_is_kept_with_the_state_of_the_service_or_of_the_user() -> None:
    assert token_file({"STATE_DIRECTORY": "/var/lib/rover:/b", "HOME": "/h"}) == Path("/var/lib/rover/page-token")
    assert token_file({"XDG_STATE_HOME": "/s", "HOME": "/h"}) == Path("/s/rover/page-token")
    assert token_file({"HOME": "/h"}) == Path("/h/.local/state/rover/page-token")


@pytest.mark.parametrize(
    ("origin", "host", "foreign"),
    [
        (None, "robot:8765", False),
        ("http://robot:8765", "robot:8765", False),
        ("https://Robot.example", "robot.EXAMPLE", False),
        ("http://robot:8765", "robot:8766", True),
        ("http://evil.example", "robot:8765", True),
        ("http://robot:8765.evil.example", "robot:8765", True),
        ("http://evil.example/robot:8765", "robot:8765", True),
        ("null", "robot:8765", True),
        ("", "robot:8765", True),
        ("http://[", "robot:8765", True),
        ("http://", "", True),
    ],
)
def test_a_page_of_another_site_is_known_by_its_origin(origin: str | None, host: str, foreign: bool) -> None:
    assert is_foreign(origin, host) == foreign


@given(st.text())
def test_only_the_token_is_right(given: str) -> None:
    assert is_right("the-token", given) == (given == "the-token")


def test_a_bearer_has_the_token() -> None:
    assert bearer("Bearer abc") == "abc"
    assert bearer("bearer  abc ") == "abc"
    assert bearer("Basic abc") == bearer("abc") == bearer("") == ""


def test_so_many_in_a_time_and_no_more() -> None:
    limit = RateLimit(3, 10.0)
    for now_s in (0.0, 1.0, 2.0):
        assert not limit.is_over("a", now_s)
        limit.count("a", now_s)
    assert limit.is_over("a", 9.9)
    assert not limit.is_over("b", 9.9)
    assert not limit.is_over("a", 10.0)
    for number in range(MOST_PEERS):
        limit.count(str(number), 5.0)
    assert not limit.is_over("a", 5.0)
