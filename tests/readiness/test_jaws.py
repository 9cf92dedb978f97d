import pytest

from rover.readiness.jaws import JawsEnd


@pytest.mark.parametrize(
    ("opening", "amps", "is_quiet", "fits"),
    [
        (0.02, None, None, True),
        (0.3, None, None, False),
        (None, 0.5, None, False),
        (0.02, 0.05, True, True),
        (0.02, 0.05, False, False),
        (None, None, None, None),
    ],
)
def test_jaws_come_to_an_end_when_no_sign_speaks_against_it(opening, amps, is_quiet, fits):
    assert JawsEnd("closed", 0.0, opening, amps, is_quiet).fits is fits
