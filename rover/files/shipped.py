"""Behaviours that come with the package; a file names one by its name alone, from wherever it lies."""

from pathlib import Path

from rover.files.problems import nearest
from rover.files.types import NAME_PATTERN

FOLDER = Path(__file__).parents[1] / "behaviours"


def shipped() -> dict[str, Path]:
    """Return the files of these behaviours and of their parts, by name."""
    return {path.stem: path for path in sorted(FOLDER.rglob("*.yaml"))}


def is_name(text: str) -> bool:
    """Tell whether a text names such a behaviour: a path has a dot or a slash in it."""
    return NAME_PATTERN.fullmatch(text) is not None


def is_shipped(path: Path) -> bool:
    """Tell whether a file is one of these."""
    return path.resolve().is_relative_to(FOLDER.resolve())


def why_unknown(name: str, folder: Path) -> str:
    """Return what is to be said of a name that no such behaviour has, in a file of this folder."""
    own = next(iter(sorted((*folder.glob(f"{name}.yaml"), *folder.parent.glob(f"*/{name}.yaml")))), None)
    hint = nearest(name, shipped())
    if own is not None:
        within = own.relative_to(folder) if own.is_relative_to(folder) else Path("..") / own.relative_to(folder.parent)
        hint = f"; one of your own is named by its path: {within}"
    return f"no behaviour of this name comes with rover{hint}"
