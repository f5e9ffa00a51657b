"""How sharply counts of further boxes would tell the effect of a genus: the noise of their summary."""

import numpy as np
from numpy.typing import ArrayLike


def counted_noise_sd(
    *, plants: float, healthy_chance: float, shipment_sd: ArrayLike, line_sd: ArrayLike, boxes: int
) -> float:
    """Return the sd of the mean that boxes tell of an effect on the linear predictor.

    Each box tells the effect with the noise of its shipment and line effects and of its count: a plant's Fisher
    information on eta, with P(healthy) = p = exp(-exp(eta)), is H^2 p / (1 - p), H = -log p (complementary log-log;
    McCullagh & Nelder 1989, Generalized Linear Models). All else about the boxes is taken as known, so this is too
    little rather than too much; the noise of a count is taken as normal.

    Parameters
    ----------
    plants : float
        Of the genus in each box, above 0.
    healthy_chance : float
        Of one of them; 0 and 1 tell nothing.
    shipment_sd, line_sd : array_like, shape (draws,)
        Scales of the box's effects.
    boxes : int
        At least 1.

    Returns
    -------
    float
        Infinite where counts tell nothing.
    """
    if not 0.0 < healthy_chance < 1.0:
        return float("inf")
    hazard = -np.log(healthy_chance)
    information = plants * hazard**2 * healthy_chance / (1.0 - healthy_chance)
    between = float(np.mean(np.square(shipment_sd) + np.square(line_sd)))
    return float(np.sqrt((between + 1.0 / information) / boxes))
