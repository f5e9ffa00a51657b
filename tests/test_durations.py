"""The table of durations: read from a report, shown in the guide, and what puts long files first."""

from pathlib import Path

import pytest

from tests.durations import GUIDE, reported, seconds_by_file, shown, with_table

REPORT = """<testsuites><testsuite>
<testcase classname="tests.model.test_one.TestClass" name="a" time="1.5"/>
<testcase classname="tests.model.test_one" name="b" time="0.25"/>
<testcase classname="tests.test_two" name="test_c" time="2.0"/>
</testsuite></testsuites>"""


def test_a_report_is_summed_by_file(tmp_path: Path) -> None:
    file = tmp_path / "report.xml"
    file.write_text(REPORT, encoding="utf-8")
    assert reported(file) == {"tests/model/test_one.py": 1.75, "tests/test_two.py": 2.0}
    assert reported(file, file)["tests/test_two.py"] == 4.0


def test_the_longest_come_first() -> None:
    rows = shown({"tests/a.py": 1.0, "tests/b.py": 30.0, "tests/c.py": 2.0}).splitlines()
    assert rows[2].split("|")[1:7] == [" b.py ", " 30.0 ", " c.py ", " 2.0 ", " a.py ", " 1.0 "]


def test_the_guide_shows_the_table() -> None:
    guide = GUIDE.read_text(encoding="utf-8")
    assert with_table(guide, seconds_by_file()) == guide


def test_files_of_the_page_and_long_ones_are_collected_first(request: pytest.FixtureRequest) -> None:
    seconds = seconds_by_file()
    files = list(dict.fromkeys(item.nodeid.partition("::")[0] for item in request.session.items))
    pages = [file.startswith("tests/page/") for file in files]
    assert pages == sorted(pages, reverse=True)
    for part in (files[: sum(pages)], files[sum(pages) :]):
        known = [seconds[file] for file in part if file in seconds]
        assert known == sorted(known, reverse=True)
