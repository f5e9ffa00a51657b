"""How much likelier a seller's newest boxes are if its plants now last half as long: what the artefact holds of it."""

from collections.abc import Mapping

# Of so many of a seller's newest boxes together.
NEWEST = (1, 2)
# The log likelihood ratios of a fall to no change, in the order of `NEWEST`, by the key of each seller that has any.
SellerFalls = Mapping[str, tuple[float, ...]]
