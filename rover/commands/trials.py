"""`rover trials`."""

import sys
import time
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import click

from rover.commands import options
from rover.commands.given_files import say_loading
from rover.commands.main import FAILED, INTERRUPTED
from rover.errors import UserError
from rover.files.given import Given
from rover.files.load import load
from rover.session.assembly import loads_in_rehearsal
from rover.trials.campaign import Campaign, Variant, command_of, run_trial_twice
from rover.trials.cluster import on_cluster
from rover.trials.side_by_side import SideBySide
from rover.trials.store import CampaignFile
from rover.trials.trial import Trial, TrialRow, lost_row, run_trial
from rover.trials.without import SAFEGUARDS
