"""What boxes made of a version's draws that came after it was made: as it is stored, told and applied.

It is found in another process (`app.learning`), which needs the likelihood; the server only takes the draws it names.
"""

import io
from collections.abc import Mapping
from typing import Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from model.plant import KINDS, Level
from model.predict import BoxCounts, LevelCounts, PosteriorDraws, resampled_draws, with_levels

JsonLevel = str | tuple[str, int]
Refused = Literal["corrected", "too_many", "few_draws", "long_tail", "failed"]

SINCE = "{boxes} {were} recorded or corrected since this version was made, "
WHY: Mapping[str, str] = {
    "corrected": SINCE + "and it had learned from what was corrected.",
    "too_many": SINCE + "too many to be taken in without a refit.",
    "few_draws": SINCE + "and {say} more than weighing its draws can take in.",
    "long_tail": SINCE + "and {say} more than weighing its draws can take in.",
    "failed": SINCE + "and could not be taken in without a refit.",
}
IN_USE = SINCE + "and its draws are weighed by what {they} showed."


class QuickUpdate(BaseModel):
    """What was found of some later boxes; `refused` says why the draws stay as they are, None where they do not.

    `levels`, `boxes_of`, `plants_of` and `pairs` (genus, seller, boxes, plants) are those of the boxes that are in the
    weights; `draws` is which of the `pool` that was weighed stands in each place.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True)

    revision: int
    boxes: int = Field(ge=1)
    plants: int = Field(default=0, ge=0)
    refused: Refused | None = None
    effective_draws: float | None = None
    pareto_k: float | None = None
    levels: dict[str, tuple[JsonLevel, ...]] = {}
    boxes_of: dict[str, list[int]] = {}
    plants_of: dict[str, list[int]] = {}
    pairs: list[tuple[int, int, int, int]] = []
    pool: int = 0
    draws: NDArray[np.int64] | None = Field(default=None, exclude=True)

    @property
    def in_use(self) -> bool:
        """Whether answers take the boxes into account."""
        return self.refused is None

    @property
    def suffix(self) -> str:
        """What is added to the version's name: other boxes, or other counts of the same, are another model."""
        return f"+{self.boxes}-{'box' if self.boxes == 1 else 'boxes'}-r{self.revision}" if self.in_use else ""

    @property
    def why(self) -> str:
        """Why the boxes are not in the answers, in a sentence."""
        return self._said(WHY[self.refused]) if self.refused else ""

    @property
    def text(self) -> str:
        """What became of the boxes, in plain words."""
        return f"{self.why} A refit is due." if self.refused else self._said(IN_USE)

    def _said(self, text: str) -> str:
        one = self.boxes == 1
        return text.format(
            boxes="One box" if one else f"{self.boxes:,} boxes",
            were="was" if one else "were",
            say="says" if one else "say",
            they="it" if one else "they",
        )

    @property
    def counts(self) -> BoxCounts:
        """The boxes and plants that are in the weights."""
        levels: dict[str, tuple[Level, ...]] = {kind: self.levels.get(kind, ()) for kind in KINDS}
        genus, seller, boxes, plants = np.array(self.pairs, dtype=np.int64).reshape(-1, 4).T
        return BoxCounts(
            n_boxes=self.boxes,
            n_plants=self.plants,
            levels=levels,
            by_level={
                kind: LevelCounts(
                    *(np.array(of.get(kind, []), dtype=np.int64) for of in (self.boxes_of, self.plants_of))
                )
                for kind in KINDS
            },
            genus=genus,
            seller=seller,
            pairs=LevelCounts(boxes, plants),
        )

    def drawn_anew(self, draws: PosteriorDraws, pool: PosteriorDraws) -> PosteriorDraws:
        """Return the version's draws as the boxes left them, from those that were weighed."""
        if self.draws is None:
            return draws
        return resampled_draws(draws, with_levels(pool, self.levels), self.draws)

    @classmethod
    def stored(cls, found_json: str, draws: bytes | None, *, n_draws: int) -> Self:
        """Return what was stored of a version of so many draws.

        Raises
        ------
        ValueError
            If it is not what this version of the program stores.
        """
        found = cls.model_validate_json(found_json)
        if draws is None:
            return found
        index = np.load(io.BytesIO(draws), allow_pickle=False)
        if index.shape != (n_draws,) or index.min() < 0 or index.max() >= found.pool:
            raise ValueError("the draws are not those of the version")
        return found.model_copy(update={"draws": index.astype(np.int64)})

    def to_store(self) -> tuple[str, bytes | None]:
        """Return it as it is stored: JSON, and the draws as an .npy file."""
        if self.draws is None:
            return self.model_dump_json(), None
        buffer = io.BytesIO()
        np.save(buffer, self.draws.astype(np.int32), allow_pickle=False)
        return self.model_dump_json(), buffer.getvalue()
