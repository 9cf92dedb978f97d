"""The plots of a calibration as a picture, where matplotlib is there (the extra `report`)."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rover.calibrate.findings import Plot


def draw(plots: Sequence[Plot], title: str, path: Path) -> Path | None:
    """Write the plots side by side as a PNG, and return its path; None without matplotlib.

    Raises:
        OSError: the file cannot be written.
    """
    try:
        from matplotlib.figure import Figure
    except ImportError:
        return None
    figure = Figure(figsize=(5.0 * len(plots), 4.5), layout="constrained")
    figure.suptitle(title)
    for axes, plot in zip(figure.subplots(1, len(plots), squeeze=False)[0], plots, strict=True):
        _fill(axes, plot)
    figure.savefig(path, dpi=120)
    return path


def _fill(axes: Any, plot: Plot) -> None:
    for series in plot.series:
        axes.plot(series.x, series.y, "o" if series.marks else "-", markersize=4, label=series.label)
    axes.set_title(plot.title, fontsize=10)
    axes.set_xlabel(plot.x_axis)
    axes.set_ylabel(plot.y_axis)
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8)
    if plot.square:
        axes.set_aspect("equal", adjustable="datalim")
        axes.axhline(0.0, color="black", linewidth=0.6)
        axes.axvline(0.0, color="black", linewidth=0.6)
