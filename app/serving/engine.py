"""The model that answers: reference tables and posterior draws, and for a fitted one what it rests on."""

from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Self

import numpy as np

from app.serving.artifacts import FittedModel
from app.serving.learned_times import LearnedTimes
from app.serving.quick_update import QuickUpdate
from model.predict import BoxCounts, PosteriorDraws, added_counts, draw_prior_posterior
from model.prior import draw_prior
from model.reference import Reference, load_reference

STORED_DRAWS = 4096
# Also the key of fitted draws: what no box bears on is drawn alike in every version, so versions differ sharply.
PRIOR_SEED = 20261125


def rules_version(reference: Reference) -> str:
    """Return the name of the model that speaks from the rules of thumb alone."""
    return f"rules-{reference.fingerprint}"


@lru_cache(maxsize=1)
def rules_draws(reference: Reference) -> PosteriorDraws:
    """Return the draws that speak from the rules of thumb alone."""
    return draw_prior_posterior(reference, STORED_DRAWS, seed=PRIOR_SEED)


@lru_cache(maxsize=1)
def rules_pool(reference: Reference, n: int) -> PosteriorDraws:
    """Return n draws of the rules of thumb, first those of `rules_draws`; late loss is that of those alone.

    A fit has the draws that it has; of the rules there are as many as are wanted.
    """
    first = rules_draws(reference)
    if n <= first.n_draws:
        return first
    more = draw_prior(reference, n - first.n_draws, rng=np.random.default_rng([PRIOR_SEED, n]))
    return replace(first, parameters=first.parameters.followed_by(more))


@dataclass(frozen=True, eq=False)
class Engine:
    """What a service needs to answer: `draws` of the model named `model_version`, and the tables behind it.

    `fit` is what a fitted model rests on; None for the rules of thumb alone. `update` is what later boxes made of them.
    """

    model_version: str
    reference: Reference
    draws: PosteriorDraws
    fit: FittedModel | None = None
    update: QuickUpdate | None = None
    chance_draws: PosteriorDraws = field(init=False)  # a chance averages over these

    def __post_init__(self) -> None:
        object.__setattr__(self, "chance_draws", self.draws.first_block())

    @classmethod
    def load(cls) -> Self:
        """Load the model that speaks from the rules of thumb alone."""
        return cls.of_rules(load_reference())

    @classmethod
    def of_rules(cls, reference: Reference) -> Self:
        """Return the engine that speaks from these rules of thumb alone."""
        return cls(model_version=rules_version(reference), reference=reference, draws=rules_draws(reference))

    @classmethod
    def of(cls, version: str, fit: FittedModel) -> Self:
        """Return the engine of a fitted model."""
        return cls(model_version=version, reference=fit.draws.reference, draws=fit.draws, fit=fit)

    def updated(self, update: QuickUpdate) -> Self:
        """Return the engine of the same version with what later boxes say, or with why they are not in its answers."""
        pool = self.draws if self.fit else rules_pool(self.reference, update.pool)
        name = f"{self.model_version}{update.suffix}"
        return replace(self, model_version=name, draws=update.drawn_anew(self.draws, pool), update=update)

    @property
    def rules_alone(self) -> bool:
        """Whether no box is behind the answers."""
        return self.counts is None

    @cached_property
    def counts(self) -> BoxCounts | None:
        """Boxes and plants behind the answers, later ones included; None for the rules of thumb alone."""
        later = self.update.counts if self.update and self.update.in_use else None
        if self.fit is None or later is None:
            return later if self.fit is None else self.fit.counts
        return added_counts(self.fit.counts, later)

    @property
    def times(self) -> LearnedTimes:
        """Times in transit learned from own boxes; none for the rules of thumb."""
        return self.fit.times if self.fit else LearnedTimes()

    def knows(self, kind: str, level: str) -> bool:
        """Whether the model has seen boxes with a level of an effect."""
        return self.counts is not None and self.counts.knows(kind, level)
