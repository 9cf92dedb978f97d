"""The activities that a behaviour file names under ``does``; a user adds one as ``package.module:Class``."""
