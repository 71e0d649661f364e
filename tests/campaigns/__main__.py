"""`python -m tests.campaigns NAME [--quick]`: measure what an issue promises."""

from __future__ import annotations

import sys

from tests.campaigns.alarms import alarm_figures
from tests.campaigns.breadth import breadth_figures
from tests.campaigns.figures import main
from tests.campaigns.measurement import measurement_figures
from tests.campaigns.spine import spine_figures

if __name__ == "__main__":
    sys.exit(
        main(
            "python -m tests.campaigns",
            {
                "spine": spine_figures,
                "breadth": breadth_figures,
                "alarms": alarm_figures,
                "measurement": measurement_figures,
            },
        )
    )
