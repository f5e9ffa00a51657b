"""What the active model has learned, in words: rules met, effects as time ratios, times, late losses.

Reads draws; changes nothing.
"""

from app.learned.effects import ratio_quantiles, seller_effect
from app.learned.model_page import answer_model

__all__ = ["answer_model", "ratio_quantiles", "seller_effect"]
