"""Unnamed sellers and unknown genera as levels of their own, where boxes are weighed or replicated by draws."""

from dataclasses import dataclass, replace

from model.fit.lines import Observed
from model.plant import Plant


@dataclass(frozen=True, slots=True)
class _Stranger(Plant):
    """A plant of no known genus: `label` is the level of everything that its genus would say."""

    label: str = ""

    @property
    def group_level(self) -> str:
        return self.label

    @property
    def genus_level(self) -> str:
        return self.label

    @property
    def cultivar_level(self) -> str:
        return self.label


def replace_unnamed(observed: Observed) -> Observed:
    """Return boxes whose unnamed sellers and unknown genera are levels of their own, which no other box has."""
    plants: list[Plant] = []
    for row, (plant, box) in enumerate(zip(observed.plants, observed.observations.box.tolist(), strict=True)):
        own = plant if plant.seller_level else replace(plant, seller=f"\0 unnamed in box {box}")
        if own.genus is None:
            own = _Stranger(**{name: getattr(own, name) for name in Plant.__slots__}, label=f"\0 unknown in line {row}")
        plants.append(own)
    return observed._replace(plants=tuple(plants))
