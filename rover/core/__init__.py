"""The core: pure and deterministic, one call a step."""

from rover.core.step import Action, Core, StepReadings, StepRecord

__all__ = ["Action", "Core", "StepReadings", "StepRecord"]
