"""`python -m tests.rendered`: write anew what documents show of the program's own tables."""

from __future__ import annotations

from pathlib import Path

from tests.rendered.diagrams import with_diagrams
from tests.rendered.interlocks import interlocks_text

ROOT = Path(__file__).parents[2]


def main() -> None:
    """Write docs/interlocks.md whole, and in DEVELOPERS.md what stands between its markers."""
    (ROOT / "docs" / "interlocks.md").write_text(interlocks_text(), encoding="utf-8")
    developers = ROOT / "DEVELOPERS.md"
    developers.write_text(with_diagrams(developers.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
