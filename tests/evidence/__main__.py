"""``python -m tests.evidence PART ...``: run parts of the evidence and write what they found."""

import argparse
import time
from collections.abc import Callable
from pathlib import Path

from tests.evidence import criticism, published

FOLDER = Path(__file__).resolve().parent
PARTS: dict[str, Callable[[], str]] = {"published": published.report, "criticism": criticism.report}


def main() -> None:
    """Run the parts that are named, or all."""
    parser = argparse.ArgumentParser(prog="python -m tests.evidence", description=__doc__)
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help="all unless named")
    for name in parser.parse_args().parts or PARTS:
        begun = time.process_time()
        (FOLDER / f"{name}.md").write_text(PARTS[name](), encoding="utf-8")
        print(f"{name}.md: {time.process_time() - begun:.0f} s of CPU")  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
