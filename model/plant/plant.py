"""What a prediction is about: a kind of plant, its packing and its sender, and the levels of their effects."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from model.reference import CONSTANTS, REFERENCE_CONTAINER, REFERENCE_GROUP, REFERENCE_ROOTS, Genus

UNNAMED = ""

# A seller's quarters follow each other as a stationary AR(1).
DRIFT_CORRELATION = CONSTANTS.drift_correlation

# A name, or of a drift state the seller and the quarter (4 x year + quarter).
Level = str | tuple[str, int]


@dataclass(frozen=True, slots=True)
class Plant:
    """What a prediction is about: one kind of plant, how it is packed and who sends it; None where not named."""

    genus: Genus | None
    cultivar: str | None = None
    container: str = "foam_box"
    roots: str = "damp_wrap"
    service: str | None = None
    seller_kind: str | None = None
    seller: str | None = None
    quarter: int | None = None

    @property
    def group_level(self) -> str | None:
        """The level of its group's effect; None for the reference group, which has none."""
        group = self.genus.group if self.genus else UNNAMED
        return None if group == REFERENCE_GROUP else group

    @property
    def genus_level(self) -> str:
        """The level of its genus effect."""
        return self.genus.genus if self.genus else UNNAMED

    @property
    def cultivar_level(self) -> str:
        """The level of its cultivar effect: that of its genus where no cultivar is named."""
        name = self.genus_level
        return f"{name} {self.cultivar.casefold()}" if name and self.cultivar else name

    @property
    def seller_level(self) -> str:
        """The level of its seller's effect."""
        return self.seller.casefold() if self.seller else UNNAMED

    @property
    def levels(self) -> dict[str, Level | None]:
        """The level of each kind of effect; None for a reference level, which has no effect, and without drift."""
        drift = (self.seller_level, self.quarter) if self.seller_level and self.quarter is not None else None
        return {
            "group": self.group_level,
            "genus": self.genus_level,
            "cultivar": self.cultivar_level,
            "container": None if self.container == REFERENCE_CONTAINER else self.container,
            "roots": None if self.roots == REFERENCE_ROOTS else self.roots,
            "service": self.service or UNNAMED,
            "seller_kind": self.seller_kind or UNNAMED,
            "seller": self.seller_level,
            "drift": drift,
        }


def drift_quarters(levels: Iterable[Level]) -> dict[str, tuple[int, ...]]:
    """Return the quarters of each seller that has drift states, ascending."""
    quarters: dict[str, list[int]] = {}
    for level in levels:
        quarters.setdefault(str(level[0]), []).append(int(level[1]))
    return {seller: tuple(sorted(own)) for seller, own in quarters.items()}


def nearest_drift(states: Sequence[int], quarter: int | None) -> tuple[int, float]:
    """Return a seller's state nearest to a quarter (None: the latest), and its correlation with that quarter."""
    if quarter is None:
        return states[-1], 1.0
    nearest = min(states, key=lambda state: abs(state - quarter))
    return nearest, DRIFT_CORRELATION ** abs(quarter - nearest)


# Kinds of effects with levels in the ledger, in the order of the parameter vector.
KINDS = ("group", "genus", "cultivar", "container", "roots", "service", "seller_kind", "seller", "drift")
