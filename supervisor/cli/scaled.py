"""Private entry of the demo and of campaigns: `run` with process time scaled, which `run` itself cannot.

python -m supervisor.cli.scaled FILE SPEED
"""

from __future__ import annotations

import sys
from pathlib import Path

from supervisor.cli.run import run

if __name__ == "__main__":
    sys.exit(run(Path(sys.argv[1]), watch_only=False, speed=float(sys.argv[2])))
