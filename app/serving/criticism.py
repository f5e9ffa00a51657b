"""How well a fit stands beside its own boxes, as its manifest holds it: optional, looked at once at the refit."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Share = Annotated[float, Field(ge=0, le=1)]
FromZero = Annotated[float, Field(ge=0)]
Boxes = Annotated[int, Field(ge=1)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class PredictiveCheck(_Part):
    """A number of the ledger beside the same of boxes that the fit has come again.

    `about` says of what: boxes with no survivor, or the share healthy of a season or seller; `level` is the seller's
    key, or the months from and to, "10-03". `low` and `high` are the middle 95 % of the replicates, `below` the share
    of them below what was found.
    """

    about: Literal["no_survivor", "season", "seller"]
    level: str
    boxes: Boxes
    found: FromZero
    low: FromZero
    high: FromZero
    below: Share


class LeftOutBox(_Part):
    """Log probability of a box's counts by the fit without it, and by the rules of thumb."""

    shipment: str
    score: float
    rules: float


class LeftOutScores(_Part):
    """Log scores of boxes left out one by one, of those compared.

    `score` and `rules` are sums over them, `difference` and `standard_error` of one box; `by_box` those furthest apart.
    """

    boxes: Boxes
    better: Annotated[int, Field(ge=0)]
    score: float
    rules: float
    difference: float
    standard_error: FromZero | None
    by_box: list[LeftOutBox]


class RestsOn(_Part):
    """How far a quantity moves with the prior and with the likelihood, and what it rests on (`sensitivities.Rests`)."""

    kind: Literal["healthy", "kappa", "lost_whole", "genus", "seller"]
    level: str
    prior: FromZero
    likelihood: FromZero
    prior_shift: float
    likelihood_shift: float
    on: Literal["boxes", "rules", "both", "conflict", "neither"]


class Criticism(_Part):
    """What a fit was asked about itself.

    `rests` lacks what the weights of the draws were too uneven to tell; their Pareto k is null if not finite.
    """

    checks: list[PredictiveCheck]
    rests: list[RestsOn]
    prior_pareto_k: float | None
    likelihood_pareto_k: float | None
    left_out: LeftOutScores | None = None
