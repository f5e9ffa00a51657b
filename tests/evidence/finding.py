"""A published finding, what the model says to it by rules of thumb alone, and the words for both."""

from typing import NamedTuple

from tests.app.batches import risk


class Finding(NamedTuple):
    """A published finding and the model's answer to it.

    Attributes
    ----------
    topic, source, says, model : str
    verdict : str
        "agrees", "disagrees", or "cannot be compared" with the reason.
    used : bool
        Whether a table of the model was made from it.
    """

    topic: str
    source: str
    says: str
    model: str
    verdict: str
    used: bool


def verdict(agrees: bool, why: str = "") -> str:
    """Return the verdict in words, with what is behind a disagreement."""
    return "agrees" if agrees else f"disagrees: {why}"


def chances(genus: str, days: float, inside_c: float, chance: str = "healthy", **packing: object) -> float:
    """Return the mean chance of a state after constant air in the box, from rules of thumb alone."""
    [answer] = risk({"genus": genus, "transit_days": days, "temperature": {"inside_c": inside_c}} | packing)
    return float(answer[chance]["mean"])


def two_weeks(genus: str, days: float, inside_c: float) -> float:
    """Return the chance to be healthy two weeks after unboxing."""
    return chances(genus, days, inside_c, "healthy_two_weeks")


def percent(share: float) -> str:
    """Return a share in percent."""
    return f"{100 * share:.0f} %"
