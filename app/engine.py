"""The active model: reference tables and posterior draws, loaded once a process."""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Self

import numpy as np
from numpy.typing import NDArray

from model.predict import MarginalChances, PosteriorDraws, draw_prior_posterior
from model.reference import Reference, load_reference

STORED_DRAWS = 4096
PRIOR_SEED = 20261125


@dataclass(frozen=True, eq=False)
class Engine:
    """What a service needs to answer: `draws` of the model named `model_version`, and the tables behind it."""

    model_version: str
    reference: Reference
    draws: PosteriorDraws
    chance_draws: PosteriorDraws = field(init=False)  # a chance averages over these

    def __post_init__(self) -> None:  # noqa: D105
        object.__setattr__(self, "chance_draws", self.draws.first_block())

    @classmethod
    def load(cls) -> Self:
        """Load the model that speaks from the rules of thumb alone."""
        reference = load_reference()
        return cls(
            model_version=f"rules-{reference.fingerprint}",
            reference=reference,
            draws=draw_prior_posterior(reference, STORED_DRAWS, seed=PRIOR_SEED),
        )

    @cached_property
    def marginal_chances(self) -> MarginalChances:
        """Chances in a box not yet seen, over `chance_draws`."""
        return MarginalChances(self.chance_draws)

    @cached_property
    def kept_unchilled(self) -> NDArray[np.float32]:
        """Chance of no late loss without chilling, for each of `chance_draws`."""
        chance = self.chance_draws.late_loss.chance(np.zeros(self.chance_draws.n_draws))
        return (1.0 - chance).astype(np.float32)
