"""The cart of the config folder with some limits changed, and a bare field of 6 m by 4 m."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rover.estimate.field import Ground
from rover.files import yaml_source
from rover.files.robot import Robot

CART = Path(__file__).parents[2] / "config/cart.yaml"


@pytest.fixture(scope="session")
def cart() -> Callable[..., Robot]:
    """Return the cart; limits and further devices are given as in the file: ``cart(speed='0.3 m/s')``."""
    values: dict[str, Any] = yaml_source.read(CART, CART.name).values

    def make(devices: dict[str, Any] | None = None, **limits: Any) -> Robot:
        changed = {"limits": values["limits"] | limits, "devices": values["devices"] | (devices or {})}
        return Robot.model_validate(values | changed)

    return make


@pytest.fixture(scope="session")
def field() -> Ground:
    corners = ((0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0))
    edges = tuple(zip(corners, (*corners[1:], corners[0]), strict=True))
    return Ground(boundary=corners, edges=edges, walls=(), zone=None, entry=0.0, slots=(), **_more())


def _more() -> dict[str, Any]:
    return {name: None for name in Ground.__dataclass_fields__ if name == "marker"}


@pytest.fixture(scope="session")
def robot(cart: Callable[..., Robot]) -> Robot:
    return cart()
