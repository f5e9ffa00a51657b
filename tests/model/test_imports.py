"""What may be imported where: the numerical library stays small, and the server starts without the heavy packages."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from itertools import permutations
from pathlib import Path

import pytest

import model

MODEL = Path(model.__file__).parent
ROOT = MODEL.parent
MODULES = sorted(MODEL.rglob("*.py"))
ALLOWED = {"numpy", "scipy.special", "model"}
# The fit runs in a process of its own, never in the server's; only the estimator knows scikit-learn.
OF_THE_FIT = {
    "inference": {"scipy.linalg"},
    "inner_mode": {"scipy.linalg", "scipy.sparse"},
    "marginal_slope": {"scipy.linalg", "scipy.sparse"},
    "proposal": {"scipy.linalg"},
    "target": {"scipy.sparse"},
    "survival": {"sklearn", "threadpoolctl"},
}
KEPT_APART = ({"journey"}, {"decision", "landed_cost", "margin", "break_even", "order_size"}, {"survival"})
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


def test_journey_decision_and_survival_do_not_import_each_other() -> None:
    """They meet as arrays in the services; nor do they reach each other through other modules."""
    reach = {path.stem: {n.split(".")[1] for n in imported(path.read_text(encoding="utf-8")) if n.startswith("model.")}
             for path in MODULES}  # fmt: skip
    for group, other in permutations(KEPT_APART, 2):
        seen: set[str] = set()
        waiting = list(group & reach.keys())
        while waiting:
            new = reach[waiting.pop()] - seen
            seen |= new
            waiting += new
        assert not seen & other, group


def test_the_server_loads_none_of_the_heavy_packages() -> None:
    """In a process of its own: this one has imported them for the tests."""
    code = (
        "import sys, app.main\n"
        "from app.engine import Engine\n"
        "Engine.load()\n"
        "print('model.predict' in sys.modules, sorted(set(sys.argv[1:]) & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *TOO_HEAVY], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.stdout.strip(), done.stderr, done.returncode) == ("True []", "", 0)
