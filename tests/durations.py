"""How long each test file takes: read where tests are put in order, and shown in the project's DEVELOPERS.md.

``python -m pytest --junit-xml=report.xml`` and then ``python -m tests.durations report.xml`` brings both up to date;
reports of parts of the tests are given together.
"""

import csv
import re
import sys
from collections import defaultdict
from pathlib import Path
from xml.etree import ElementTree

ROOT = Path(__file__).resolve().parents[1]
TABLE = Path(__file__).with_suffix(".csv")
GUIDE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- durations: python -m tests.durations -->", "<!-- end of durations -->"
COLUMNS = 4


def seconds_by_file() -> dict[str, float]:
    """Return the seconds of each test file of the table, its path from the top of the repository."""
    with TABLE.open(encoding="utf-8", newline="") as lines:
        return {row["file"]: float(row["seconds"]) for row in csv.DictReader(lines)}


def reported(*reports: Path) -> dict[str, float]:
    """Return the seconds of each test file of JUnit reports, setting up and tearing down included."""
    seconds: dict[str, float] = defaultdict(float)
    for report in reports:
        for case in ElementTree.parse(report).iter("testcase"):  # noqa: S314 - made by our own run
            module = re.match(r"(?:\w+\.)*?test_\w+", case.get("classname", ""))
            assert module, f"{case.get('classname')}: is in no test file"
            seconds[module[0].replace(".", "/") + ".py"] += float(case.get("time", "0"))
    return dict(seconds)


def shown(seconds: dict[str, float]) -> str:
    """Return the table as Markdown: the longest first, some files a row."""
    cells = [f"{file.removeprefix('tests/')} | {s:.1f}" for file, s in sorted(seconds.items(), key=_longest_first)]
    cells += [" | "] * (-len(cells) % COLUMNS)
    rows = [" | ".join(cells[i : i + COLUMNS]) for i in range(0, len(cells), COLUMNS)]
    head = " | ".join(["file | s"] * COLUMNS)
    rule = "|".join(["---|--:"] * COLUMNS)
    return "\n".join([f"| {head} |", f"|{rule}|", *(f"| {row} |" for row in rows)])


def _longest_first(row: tuple[str, float]) -> tuple[float, str]:
    return -row[1], row[0]


def with_table(guide: str, seconds: dict[str, float]) -> str:
    """Return the guide with the table in its place."""
    before, rest = guide.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n{shown(seconds)}\n{END}{after}"


def main(argv: list[str]) -> int:
    """Bring table and guide up to date with reports."""
    seconds = reported(*map(Path, argv))
    with TABLE.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.writer(lines, lineterminator="\n")
        writer.writerow(("file", "seconds"))
        writer.writerows((file, f"{s:.1f}") for file, s in sorted(seconds.items()))
    GUIDE.write_text(with_table(GUIDE.read_text(encoding="utf-8"), seconds_by_file()), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
