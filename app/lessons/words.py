"""Time ratios and boxes as a buyer would say them."""

from math import log

FRACTIONS = (
    (1 / 10, "a tenth as long as"),
    (1 / 5, "a fifth as long as"),
    (1 / 4, "a quarter as long as"),
    (1 / 3, "a third as long as"),
    (1 / 2, "half as long as"),
    (2 / 3, "two thirds as long as"),
    (3 / 4, "three quarters as long as"),
    (9 / 10, "a tenth less long than"),
    (1.0, "as long as"),
    (1.1, "a tenth longer than"),
    (1.25, "a quarter longer than"),
    (1.5, "half as long again as"),
    (2.0, "twice as long as"),
    (3.0, "three times as long as"),
    (4.0, "four times as long as"),
    (5.0, "five times as long as"),
)


def ratio_words(ratio: float) -> str:
    """Return a time ratio in everyday fractions, the nearest on a log scale: ``about half as long as``.

    Raises
    ------
    ValueError
        If the ratio is not positive.
    """
    least, most = FRACTIONS[0][0], FRACTIONS[-1][0]
    if ratio < least:
        return "less than a tenth as long as"
    if ratio > most:
        return "more than five times as long as"
    return f"about {min(FRACTIONS, key=lambda pair: abs(log(ratio / pair[0])))[1]}"
