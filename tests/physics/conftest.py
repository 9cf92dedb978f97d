"""The other physics, where its engine is installed."""

import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # as --drivers does
os.environ.setdefault("MUJOCO_GL", "off")  # nothing is drawn but in processes of their own
