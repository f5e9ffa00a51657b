"""README and DEVELOPERS.md tell the truth: what they name exists, and what they show runs as shown."""

import json
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

from tests.app.conftest import REQUIRE_VARIABLE, REQUIRED
from tests.app.servers import running_server

ROOT = Path(__file__).resolve().parents[1]
DOCUMENTS = (
    "README.md", "DEVELOPERS.md", "data/demo/README.md", "model/reference/README.md", "tests/studies/README.md",
    "tests/benchmarks/README.md", "tests/trust/README.md", ".compose/README.md",
)  # fmt: skip
# About a hundred, and the counts of provenance by table.
MOST_LINES = 125
SHOWN_ADDRESS = "http://127.0.0.1:8000"
# Names of files that are no paths of the repository.
NO_PATHS = {"boxes.csv", "transit.db"}


def text_of(document: str) -> str:
    return (ROOT / document).read_text(encoding="utf-8")


def quoted(document: str) -> list[str]:
    """Return what stands between backticks, code blocks left out."""
    return re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```", "", text_of(document), flags=re.DOTALL | re.MULTILINE))


def paths_in(document: str) -> list[str]:
    """Return the paths that a document names or links to, relative to the repository."""
    folder = str(Path(document).parent)
    linked = [f"{folder}/{target}" for target in re.findall(r"\]\(([^)#:]+)\)", text_of(document))]
    named = [name for name in quoted(document) if re.fullmatch(r"[\w.-]+(/[\w.-]+)+/?", name)]
    return linked + [name for name in named if not name.startswith("/")]


def modules_in(document: str) -> set[str]:
    """Return the dotted names of this repository's that a document gives, as such or after `python -m`."""
    names = set()
    for name in quoted(document):
        names |= set(re.findall(r"\b(?:app|model|tests)(?:\.\w+)+", name)) if "/" not in name else set()
    return names


def resolves(name: str) -> bool:
    """Whether a dotted name is a module, or something in one; a module whose packages are not installed is one too."""
    parts = name.split(".")
    for n in range(len(parts), 0, -1):
        module = ".".join(parts[:n])
        if not is_module(module):
            continue
        found: object = import_module(module) if n < len(parts) else None
        for part in parts[n:]:
            if not hasattr(found, part):
                return False
            found = getattr(found, part)
        return True
    return False


def is_module(name: str) -> bool:
    path = ROOT.joinpath(*name.split("."))
    return path.with_suffix(".py").is_file() or (path / "__init__.py").is_file()


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_path_that_is_named_exists(document: str) -> None:
    assert [path for path in paths_in(document) if not (ROOT / path).exists()] == []


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_file_that_is_named_exists_somewhere(document: str) -> None:
    names = {name for name in quoted(document) if re.fullmatch(r"\w+\.(py|js|csv|json|npz|toml)", name)}
    assert [name for name in names - NO_PATHS if not any(ROOT.glob(f"[!.]*/**/{name}"))] == []


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_module_that_is_named_exists(document: str) -> None:
    assert [name for name in sorted(modules_in(document)) if not resolves(name)] == []


def test_the_checks_see_what_they_must_refuse() -> None:
    assert not resolves("app.services.compare")
    assert not resolves("app.comparing.compare.answer_nothing")
    assert resolves("app.comparing.compare.answer_compare")
    assert len(modules_in("DEVELOPERS.md")) > 30
    assert len(paths_in("DEVELOPERS.md")) > 30


def test_every_room_is_on_the_map() -> None:
    rooms = {f"{top}/{found.parent.name}" for top in ("app", "model") for found in ROOT.glob(f"{top}/*/__init__.py")}
    assert rooms - set(quoted("DEVELOPERS.md")) == set()


def test_the_readme_is_short() -> None:
    assert len(text_of("README.md").splitlines()) <= MOST_LINES


def blocks(language: str) -> list[str]:
    """Return the code blocks of the README in a language."""
    return re.findall(rf"^```{language}\n(.*?)^```", text_of("README.md"), flags=re.DOTALL | re.MULTILINE)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with running_server(f"sqlite:///{tmp_path_factory.mktemp('readme') / 'ledger.db'}") as started:
        yield started


def test_the_call_from_python_runs_as_shown(address: str) -> None:
    [code] = blocks("python")
    assert SHOWN_ADDRESS in code
    command = [sys.executable, "-c", code.replace(SHOWN_ADDRESS, address)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.stderr, done.returncode) == ("", 0)
    assert re.search(r"'mean': 0\.\d+, 'low': 0\.\d+, 'high': 0\.\d+", done.stdout)


def test_the_call_from_the_shell_runs_as_shown(address: str) -> None:
    if shutil.which("curl") is None:
        if REQUIRED:
            pytest.fail(f"curl is not installed, and {REQUIRE_VARIABLE} asks for it")
        pytest.skip("the README's call is not tried from the shell: curl is not installed")
    [code] = [block for block in blocks("sh") if block.startswith("curl ")]
    assert SHOWN_ADDRESS in code
    command = ["sh", "-c", code.replace(SHOWN_ADDRESS, address)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    answer = json.loads(done.stdout)
    assert [route["name"] for route in answer["routes"]] == ["courier", "air cargo"]
    assert answer["recommended"] in ("courier", "air cargo")


def test_the_boxes_are_imported_as_shown(tmp_path: Path) -> None:
    """The refit that follows is tried in tests/app/test_refit.py and test_demo.py."""
    [shown] = [block for block in blocks("sh") if "import" in block]
    imported, refit = shown.strip().split(" && ")
    assert refit == "python -m app refit"
    command = [sys.executable, *imported.split()[1:], "--database-url", f"sqlite:///{tmp_path / 'ledger.db'}"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert "Shipments added: 40" in done.stdout
