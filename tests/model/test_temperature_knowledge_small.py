"""What a logger leaves behind tells more and more of a box; a small version of the study of what that is worth."""

import numpy as np
import pytest

from model.exposure import ExposureTable
from model.reference.tables import load_reference
from tests.studies.journeys import KNOWLEDGE, N_NEW_BOXES, Sent, draw_sent, true_log_days
from tests.studies.temperature_knowledge import ASKED, OTHER_TRUTHS, STEPS, scores, step, table

N_BOXES, N_IMPORTERS = 30, 2
REFERENCE = load_reference()
# The tabulated clock nearest to the prior's median.
CLOCK = (
    int(np.abs(ExposureTable.log_q10_points - np.log(2.0)).argmin()),
    int(np.abs(ExposureTable.log_chill_points - np.log(0.5)).argmin()),
)


@pytest.fixture(scope="module")
def sent() -> Sent:
    return draw_sent(REFERENCE, N_BOXES, lanes="apart", rng=np.random.default_rng(4))


def test_new_boxes_come_after_those_known(sent: Sent) -> None:
    shipped = sent.boxes.shipments.ship_date[sent.boxes.lines.shipment]
    assert shipped[sent.known].max() < shipped[~sent.known].min()
    assert len(sent.journeys) == N_BOXES + N_NEW_BOXES


def test_the_more_is_measured_the_nearer_are_the_exposures(sent: Sent) -> None:
    """Equivalent days against those of the readings, by the model's own clock; a trace is the readings."""
    exact = sent.lines("trace", REFERENCE)["log_days"][:, *CLOCK]
    errors, spreads = [], []
    for knowledge in KNOWLEDGE:
        lines = sent.lines(knowledge, REFERENCE)
        errors.append(np.median(np.abs(lines["log_days"][:, *CLOCK] - exact)))
        spreads.append(np.median(np.sqrt(lines["log_days_variance"][:, *CLOCK])))
    nothing, mean, extremes, trace = errors
    assert mean < 0.5 * nothing
    assert extremes < mean
    assert trace == 0
    assert spreads == sorted(spreads, reverse=True)
    assert spreads[-1] == 0


def test_true_clocks_are_not_the_models(sent: Sent) -> None:
    """At one temperature Arrhenius's law can be any Q10's; along a journey, and with own thresholds, it is none."""
    own = true_log_days(sent, REFERENCE, np.log(2.0), 0.5, rng=np.random.default_rng(5))
    lines = sent.lines("trace", REFERENCE)
    modelled = ExposureTable(lines["log_days"], lines["log_days_variance"]).at(np.log(2.0), np.log(0.5))[0]
    differences = np.abs(own - modelled)
    assert differences.max() > 0.02
    assert np.median(differences) < 0.1


def test_steps_by_hand() -> None:
    """Gains 0.01 and 0.03: mean 0.02, sd 0.01414, standard error 0.01; Student's t of 95 % with 1 degree is 6.314."""
    rows = [{"scores": {"by plan": {"nothing": -0.5, "mean": -0.5 + gain}}} for gain in (0.01, 0.03)]
    found = step(rows, "by plan", "nothing", "mean")
    assert found["gain"] == pytest.approx(0.02)
    assert found["worse_at_most"] == pytest.approx(0.06314 - 0.02, abs=1e-5)


@pytest.mark.long
def test_small_study_is_scored_and_told() -> None:
    """So few importers show gross faults only: today's differences are about 0.01 for an importer."""
    rows = [scores("apart", N_BOXES, i) for i in range(N_IMPORTERS)]
    assert [row["truth"] for row in rows] == OTHER_TRUTHS[:N_IMPORTERS]
    for asked in ASKED:
        for less, more in STEPS:
            assert step(rows, asked, less, more)["gain"] > -0.03, (asked, less, more)
    told = table({("apart", N_BOXES): rows})
    assert f"| apart | {N_BOXES} | by plan | {N_IMPORTERS} |" in told
    assert "too few importers" in told
