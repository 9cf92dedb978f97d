"""The core: pure and deterministic, one call a step."""

from rover.core.interface import Action as Action
from rover.core.interface import StepReadings as StepReadings
from rover.core.interface import StepRecord as StepRecord
from rover.core.step import Core as Core

__all__ = ["Action", "Core", "StepReadings", "StepRecord"]
