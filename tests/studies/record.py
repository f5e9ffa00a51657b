"""How results are kept: JSON beside the digest of the model that made them."""

import hashlib
import json
import platform
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import scipy

import model

SOURCES = (
    "exposure/damage",
    "exposure/table",
    "fit/box_integral",
    "fit/box_predictive",
    "fit/effect_modes",
    "fit/fitting",
    "fit/grouping",
    "fit/hierarchy",
    "fit/inference",
    "fit/inner_mode",
    "fit/likelihood",
    "fit/lines",
    "fit/marginal_slope",
    "fit/moves",
    "fit/observations",
    "fit/pareto_smoothing",
    "fit/proposal",
    "fit/reweighting",
    "fit/strays",
    "fit/survival",
    "fit/target",
    "fit/weighing",
    "plant/effects",
    "plant/hazard",
    "plant/plant",
    "plant/time_ratio",
    "predict/predict",
    "predict/resampled",
    "prior/priors",
    "quadrature",
    "reference/constants",
    "reference/tables",
    "synthetic",
)
TABLES = (
    "chill_classes",
    "constants",
    "containers",
    "genera",
    "prior_scales",
    "roots",
    "rules",
    "seller_kinds",
    "services",
)
RESULTS = Path(__file__).parent / "results"


def model_digest(sources: Sequence[str] = (), tables: Sequence[str] = ()) -> str:
    """Return a digest of what the studies' answers depend on: sources of the fit, its tables, those given."""
    root = Path(model.__file__).parent
    digest = hashlib.sha256()
    paths = [root / f"{name}.py" for name in (*SOURCES, *sources)]
    for path in [*paths, *(root / "reference" / f"{name}.csv" for name in (*TABLES, *tables))]:
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def versions() -> dict[str, str]:
    """Return the versions of what computes."""
    return {"python": platform.python_version(), "numpy": np.__version__, "scipy": scipy.__version__}


def read(name: str) -> dict[str, Any]:
    """Return a stored result, empty where there is none."""
    path = RESULTS / name
    result: dict[str, Any] = json.loads(path.read_text()) if path.exists() else {}
    return result


def write(name: str, result: dict[str, Any]) -> None:
    """Store a result whole or not at all."""
    RESULTS.mkdir(exist_ok=True)
    part = RESULTS / (name + ".part")
    part.write_text(json.dumps(result, indent=1, sort_keys=True) + "\n")
    part.replace(RESULTS / name)
