"""The study of slips in small: one invented importer through file, fit and check; the study has the shares."""

import pytest

from app.doubts.slips import FAHRENHEIT, MONTH
from tests.studies.slips import CALIBRATION_SEED, importer, summarise, table

N_BOXES = 30


@pytest.mark.long
def test_planted_slips_are_named_and_right_boxes_are_not() -> None:
    row = importer(N_BOXES, 0, seed=CALIBRATION_SEED)
    assert row["planted"][FAHRENHEIT] == row["planted"][MONTH] == 2
    assert (row["named"][FAHRENHEIT], row["named"][MONTH]) == (2, 2)
    # One in fifty is allowed on average, the study says how many there are: of 30 and of 24 right boxes one at most.
    assert max(row["false in clean"], row["false beside slips"]) <= 1
    summary = summarise([row, row])
    assert summary["named"][MONTH] == 1.0
    assert "100% of 4" in table({"cells": {str(N_BOXES): summary}})
