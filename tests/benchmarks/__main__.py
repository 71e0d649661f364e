"""`python -m tests.benchmarks NAME [--quick]`: what things cost, beside the least they could cost on this machine."""

from __future__ import annotations

import sys

from tests.benchmarks.spine import figures
from tests.campaigns.figures import main

if __name__ == "__main__":
    sys.exit(main("python -m tests.benchmarks", {"spine": figures}))
