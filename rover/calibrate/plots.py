"""The panels of a calibration as a picture, where matplotlib is there (`pip install 'rover[report]'`)."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rover.calibrate.findings import Panel


def draw(panels: Sequence[Panel], title: str, path: Path) -> Path | None:
    """Write the panels side by side as a PNG, and return its path; None without matplotlib.

    Raises:
        OSError: the file cannot be written.
    """
    try:
        from matplotlib.figure import Figure
    except ImportError:
        return None
    figure = Figure(figsize=(5.0 * len(panels), 4.5), layout="constrained")
    figure.suptitle(title)
    for axes, panel in zip(figure.subplots(1, len(panels), squeeze=False)[0], panels, strict=True):
        _fill(axes, panel)
    figure.savefig(path, dpi=120)
    return path


def _fill(axes: Any, panel: Panel) -> None:
    for series in panel.series:
        axes.plot(series.x, series.y, "o" if series.marks else "-", markersize=4, label=series.label)
    axes.set_title(panel.title, fontsize=10)
    axes.set_xlabel(panel.x_axis)
    axes.set_ylabel(panel.y_axis)
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8)
    if panel.square:
        axes.set_aspect("equal", adjustable="datalim")
        axes.axhline(0.0, color="black", linewidth=0.6)
        axes.axvline(0.0, color="black", linewidth=0.6)
