"""The rooms of the house: which may import which, by which names, and what stays out of the server's process.

A room is a package right below `app` or `model`. What it offers stands in its `__all__`; everything else is its own.
"""

import ast
import importlib
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import model

MODEL = Path(model.__file__).parent
ROOT = MODEL.parent
MODULES = sorted(MODEL.rglob("*.py"))
ALLOWED = {"numpy", "scipy.special", "model"}
# The fit runs in a process of its own, never in the server's; only the estimator knows scikit-learn.
OF_THE_FIT = {
    "box_predictive": {"threadpoolctl"},
    "fitting": {"threadpoolctl"},
    "inference": {"scipy.linalg"},
    "inner_mode": {"scipy.linalg", "scipy.sparse"},
    "kappa": {"threadpoolctl"},
    "marginal_slope": {"scipy.linalg", "scipy.sparse"},
    "conditionals": {"scipy.linalg"},
    "positive_definite": {"scipy.linalg"},
    "proposal": {"scipy.linalg"},
    "target": {"scipy.sparse"},
    "survival": {"sklearn"},
}
# Modules that stand by themselves beside the rooms.
TOPS = {"app.abandoned", "app.clock", "app.log_lines", "app.settings", "app.side_by_side", "model.quadrature"}
_TABLES = {"model.reference", "model.plant"}
_ANSWERS = {"app.schemas", "app.serving", "app.batch"}
_REFUSING = {*_ANSWERS, "app.problems"}
MAY_IMPORT: dict[str, set[str]] = {
    # The model: arrays and frozen dataclasses.
    "model.reference": set(),
    "model.plant": {"model.reference", "model.quadrature"},
    "model.exposure": {"model.reference", "model.quadrature"},
    "model.transit": {"model.reference", "model.exposure", "model.quadrature"},
    "model.prior": {*_TABLES, "model.exposure", "model.quadrature"},
    "model.predict": {*_TABLES, "model.exposure", "model.prior", "model.quadrature"},
    "model.fit": {*_TABLES, "model.exposure", "model.prior", "model.predict", "model.quadrature"},
    "model.decision": set(),
    "model.screening": {"model.reference"},
    "model.scoring": {"model.plant", "model.quadrature"},
    "model.synthetic": {*_TABLES, "model.exposure", "model.prior", "model.predict", "model.fit"},
    # What every room of the application stands on.
    "app.problems": set(),
    "app.records": {"app.problems", "model.reference"},
    "app.schemas": {"app.problems", "model.reference"},
    "app.migrations": {"app.problems"},
    "app.store": {"app.problems", "app.records", "app.migrations"},
    "app.serving": {
        "app.clock", "app.problems", "app.settings", "app.schemas", "app.store",
        *_TABLES, "model.prior", "model.predict", "model.transit",
    },
    # Rooms for tasks.
    "app.batch": {
        "app.problems", "app.settings", "app.records", "app.schemas", "app.store", "app.serving",
        *_TABLES, "model.exposure", "model.transit", "model.decision",
    },
    "app.recorded": {
        "app.records", "app.store", "app.serving", "app.batch", "model.reference", "model.exposure", "model.transit",
        "model.predict", "model.fit",
    },
    "app.doubts": {
        *_ANSWERS, "app.records", "app.store", "app.recorded", "model.reference", "model.exposure", "model.predict",
        "model.fit", "model.screening",
    },
    "app.comparing": {
        *_REFUSING, "app.abandoned", "app.side_by_side", "model.reference", "model.exposure", "model.predict",
        "model.decision", "model.plant", "model.prior", "model.quadrature", "model.transit",
    },
    "app.risk": {
        *_REFUSING, "app.abandoned", "app.side_by_side", *_TABLES, "model.exposure", "model.transit", "model.predict",
    },
    "app.ledger": {
        *_REFUSING, "app.records", "app.store", "app.doubts", "model.reference",
    },
    "app.boxes": {
        *_REFUSING, "app.records", "app.store", "app.comparing", "app.ledger", "app.doubts",
        *_TABLES, "model.predict", "model.quadrature", "model.scoring",
    },
    "app.outlook": {
        *_REFUSING, "app.store", "app.comparing", "app.boxes", "model.reference", "model.exposure", "model.transit",
    },
    "app.claims": {*_REFUSING, "app.store", "app.boxes", "model.reference", "model.decision"},
    "app.learned": {*_ANSWERS, *_TABLES, "app.store", "model.prior", "model.predict", "model.transit", "model.scoring"},
    "app.sellers": {*_REFUSING, *_TABLES, "app.records", "app.store", "app.learned", "model.decision"},
    "app.lessons": {*_ANSWERS, "app.store", "app.learned", "app.sellers", "model.reference"},
    "app.track_record": {
        *_ANSWERS, "app.records", "app.store", "model.quadrature", "model.reference", "model.scoring",
    },
    "app.learning": {
        "app.clock", "app.problems", "app.records", "app.store", "app.serving", "app.batch", "app.recorded",
        "app.doubts", *_TABLES, "model.transit", "model.prior", "model.predict", "model.fit", "model.scoring",
    },
    # How callers come in.
    "app.page": set(),
    "app.http": {
        "app.clock", "app.log_lines", "app.problems", "app.settings", "app.records", "app.schemas", "app.store",
        "app.serving",
    },
    "app.routes": {
        *_REFUSING, "app.clock", "app.http", "app.page", "app.ledger", "app.store", "app.comparing", "app.risk",
        "app.boxes", "app.outlook", "app.claims", "app.learned", "app.lessons", "app.sellers", "app.doubts",
    },
    "app.main": {
        "app.clock", "app.settings", "app.http", "app.routes", "app.page", "app.store", "app.serving", "app.risk",
        "app.track_record",
    },
    "app.cli": {
        *_REFUSING, "app.clock", "app.log_lines", "app.settings", "app.main", "app.http", "app.store", "app.ledger",
        "app.comparing", "app.risk", "app.learned", "app.learning", "model.reference",
    },
    "app.__main__": {"app.settings", "app.problems", "app.schemas", "app.cli"},
}  # fmt: skip
# Taken module by module: the command line, so that a command loads only what it needs, and the routes.
BY_MODULE = {"app.cli", "app.routes"}
# What a room offers to programs of others, and which take modules of their own by name.
FOR_PROGRAMS = {"model.fit": {"TransitSurvival"}}
BY_NAME = {"model.fit"}
TOO_HEAVY = ("scipy.stats", "scipy.optimize", "scipy.sparse", "pandas", "sklearn", "airportsdata")


def imported(source: str) -> Iterator[str]:
    """Yield the dotted name of everything a module imports, wherever in it; `from scipy import x` as scipy.x."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative import"
            assert node.module is not None
            if node.module in {"scipy", "model"}:
                yield from (f"{node.module}.{alias.name}" for alias in node.names)
            else:
                yield node.module


def is_allowed(name: str, module: str = "") -> bool:
    parts = name.split(".")
    prefixes = {".".join(parts[: i + 1]) for i in range(len(parts))}
    return bool(prefixes & (ALLOWED | OF_THE_FIT.get(module, set()))) or parts[0] in sys.stdlib_module_names


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_model_imports_only_numpy_scipy_special_and_the_standard_library(path: Path) -> None:
    names = imported(path.read_text(encoding="utf-8"))
    assert [name for name in names if not is_allowed(name, path.stem)] == []


def test_the_check_sees_what_it_must_refuse() -> None:
    source = (
        "import app.main\nimport scipy\ndef f():\n    from scipy import stats\n    from scipy.optimize import brentq\n"
    )
    assert [name for name in imported(source) if not is_allowed(name)] == [
        "app.main", "scipy", "scipy.stats", "scipy.optimize",
    ]  # fmt: skip
    assert all(
        is_allowed(name) for name in imported("import numpy as np\nfrom scipy.special import ndtri\nimport csv\n")
    )


SOURCES = [path for top in ("app", "model") for path in sorted((ROOT / top).rglob("*.py"))]


def room_of(module: str) -> str:
    """Return the room of a dotted module name."""
    return ".".join(module.split(".")[:2])


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@cache
def crossings() -> list[tuple[str, str, str]]:
    """Return (module, what it imports from, name) for every import from another room."""
    return list(_crossings())


def _crossings() -> Iterator[tuple[str, str, str]]:
    for path in SOURCES:
        module = module_of(path)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                assert not any(alias.name.split(".")[0] in ("app", "model") for alias in node.names), module
            elif isinstance(node, ast.ImportFrom) and node.level:
                raise AssertionError(f"{module}: a relative import hides which room it is from")
            elif isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] in ("app", "model"):
                for alias in node.names:
                    source = f"{node.module}.{alias.name}" if node.module in ("app", "model") else node.module
                    if room_of(source) != room_of(module):
                        yield module, source, alias.name


def test_the_table_names_every_room_and_none_twice() -> None:
    assert MAY_IMPORT.keys() | TOPS == {room_of(module_of(path)) for path in SOURCES} - {"app", "model"}
    assert {room for allowed in MAY_IMPORT.values() for room in allowed} <= MAY_IMPORT.keys() | TOPS


def test_rooms_are_at_most_two_levels_deep() -> None:
    modules = {module_of(path) for path in SOURCES if not path.is_relative_to(ROOT / "app" / "migrations")}
    assert [module for module in modules if module.count(".") > 2] == []


def test_no_import_goes_around_the_table() -> None:
    """Modules taken by name: only a room's own, at its door, and versions of the schema."""
    by_name = [
        module_of(path) for path in SOURCES if re.search(r"import_module|__import__", path.read_text(encoding="utf-8"))
    ]
    assert set(by_name) <= BY_NAME


def test_rooms_import_only_what_the_table_allows() -> None:
    outside = [(m, s) for m, s, _ in crossings() if room_of(s) not in MAY_IMPORT.get(room_of(m), set())]
    assert outside == []


def test_the_table_allows_nothing_that_is_not_used() -> None:
    used = {(room_of(m), room_of(s)) for m, s, _ in crossings()}
    assert [(room, other) for room, allowed in MAY_IMPORT.items() for other in allowed - TOPS
            if (room, other) not in used] == []  # fmt: skip


def test_there_are_no_cycles_between_rooms_nor_between_modules() -> None:
    TopologicalSorter(MAY_IMPORT).prepare()
    modules = {module_of(path) for path in SOURCES}
    reach: dict[str, set[str]] = {}
    for path in SOURCES:
        module = module_of(path)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module in modules:
                own = {f"{node.module}.{alias.name}" for alias in node.names} & modules
                reach.setdefault(module, set()).update(own or {node.module})
    TopologicalSorter(reach).prepare()


def test_rooms_are_entered_by_their_doors() -> None:
    """Between rooms only names that the room offers, taken from the room itself."""
    wrong = []
    for module, source, name in crossings():
        if source in TOPS | {"app.main"} or source == "model.synthetic":
            continue
        if room_of(source) in BY_MODULE:
            if room_of(module) not in ("app.main", "app.__main__"):
                wrong.append((module, source, name))
        elif source.count(".") != 1 or name not in importlib.import_module(source).__all__:
            wrong.append((module, source, name))
    assert wrong == []


@pytest.mark.parametrize("room", sorted(MAY_IMPORT.keys() - {"app.main", "app.__main__", "model.synthetic"}))
def test_every_room_says_what_is_in_it_and_offers_only_what_is_taken(room: str) -> None:
    package = importlib.import_module(room)
    assert package.__doc__ is not None
    assert len(package.__doc__.strip().splitlines()) >= 2, "what is in the room, and what may be touched"
    if room not in BY_MODULE | {"app.migrations"}:
        taken = {name for _, source, name in crossings() if source == room}
        assert set(package.__all__) == taken | FOR_PROGRAMS.get(room, set())


def test_the_server_loads_none_of_the_heavy_packages() -> None:
    """In a process of its own, which looks at records too: this one has imported them for the tests."""
    code = (
        "import sys, app.main\n"
        "from app.serving import Engine\n"
        "engine = Engine.load()\n"
        "import tempfile, datetime, pathlib\n"
        "from app.ledger import import_checked\n"
        "from app.store import Database\n"
        "file = pathlib.Path('data/demo/boxes.csv').read_bytes()\n"
        "with tempfile.TemporaryDirectory() as place, Database(f'sqlite:///{place}/ledger.db') as database:\n"
        "    database.prepare()\n"
        "    now = datetime.datetime(2027, 1, 1, tzinfo=datetime.UTC)\n"
        "    import_checked(file, database, engine, replace=False, now=now)\n"
        "print('model.predict' in sys.modules, sorted(set(sys.argv[1:]) & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *TOO_HEAVY], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.stdout.strip(), done.stderr, done.returncode) == ("True []", "", 0)
