"""What the active model has learned, in words: rules met, effects as time ratios, times, late losses.

Reads draws; changes nothing.
"""

from app.learned.effects import effects, ratio_quantiles, seller_effect
from app.learned.model_page import answer_model
from app.learned.written import written_names

__all__ = ["answer_model", "effects", "ratio_quantiles", "seller_effect", "written_names"]
