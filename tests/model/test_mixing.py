"""Student effects as normals of varying precision, against the laws in Andrews & Mallows (1974) and scipy's Student."""

import numpy as np
import pytest
from scipy import special, stats

from model.exposure.table import Array
from model.fit.hierarchy import Hierarchy, InnerPrior
from model.fit.inference import Inference
from model.fit.inner_mode import InnerMode
from model.fit.mixing import LARGEST_SHAPE, MixingLaw, Said, given_mixing
from model.fit.target import Target
from model.plant import DEGREES, STUDENT_SCALE
from model.reference.tables import load_reference
from tests.model.ledgers import ledger

REFERENCE = load_reference()
N = 4000
COUNTS = np.tile([[11.0, 0.0, 1.0, 12.0], [7.0, 2.0, 3.0, 12.0]], (4, 1))
OBSERVATIONS = ledger(COUNTS, np.log(np.tile([3.0, 8.0], 4)), named={"genus": ["Hoya", "Alocasia"] * 4})
HIERARCHY = Hierarchy(OBSERVATIONS, REFERENCE)


def prior(n: int = 1) -> InnerPrior:
    """Return the prior of x at the median of theta, n times."""
    return HIERARCHY.inner(np.tile(HIERARCHY.outer_mean, (n, 1)))


def said(estimate: float, variance: float, own: InnerPrior) -> Said:
    """Return the same said of each Student effect, in squares of its scale."""
    scale = STUDENT_SCALE * own.sds[0, own.student]
    return Said(estimate * scale, variance * scale**2)


def test_of_what_the_data_do_not_touch_the_prior_is_left() -> None:
    law = MixingLaw.of(said(0.0, 1e9, prior()), prior())
    assert law.shape == pytest.approx(0.5 * DEGREES, rel=0.02)
    assert law.rate == pytest.approx(0.5 * DEGREES, rel=0.02)


@pytest.mark.parametrize("z", [0.0, 1.0, 3.0])
def test_of_a_known_effect_the_precision_is_a_gamma(z: float) -> None:
    """Given x the precision is gamma((degrees + 1) / 2, (degrees + z^2) / 2), the conjugate law."""
    law = MixingLaw.of(said(z, 1e-8, prior()), prior())
    assert law.shape == pytest.approx(0.5 * (DEGREES + 1.0), rel=0.02)
    assert law.rate == pytest.approx(0.5 * (DEGREES + z**2), rel=0.02)


def test_contradictions_of_thousands_of_nats_leave_a_law() -> None:
    law = MixingLaw.of(said(1e4, 1e-8, prior()), prior())
    assert law.shape == pytest.approx(LARGEST_SHAPE)
    assert (law.rate > 0.0).all()


def test_effects_given_precisions_drawn_from_the_prior_are_students() -> None:
    rng = np.random.default_rng(1)
    own = prior(N)
    law = MixingLaw(*(np.full((N, int(own.student.sum())), 0.5 * DEGREES) for _ in range(2)))
    mixing = law.draw(rng=rng)
    assert mixing.log_q == pytest.approx(mixing.log_prior)
    given = given_mixing(own, mixing)
    assert not given.student.any()
    z = rng.standard_normal(N) * given.sds[:, own.student][:, 0] / (STUDENT_SCALE * own.sds[0, own.student][0])
    assert stats.kstest(z, stats.t(DEGREES).cdf).pvalue > 0.01


def test_density_of_x_and_precision_integrates_to_that_of_the_student() -> None:
    own = prior()
    first = int(np.flatnonzero(own.student)[0])
    steps = np.linspace(-9.0, 3.5, 2001)
    laws = MixingLaw(*(np.full((1, int(own.student.sum())), 0.5 * DEGREES) for _ in range(2)))

    def integral(x: Array) -> float:
        """Over the first effect's precision; the others' are held, and so is what they add."""
        heights = []
        for log_w in steps:
            mixing = laws.described(np.where(np.arange(laws.shape.shape[1]) == 0, np.exp(log_w), 1.0)[None])
            heights.append(given_mixing(own, mixing).log_density(x)[0] + mixing.log_prior[0, 0] + log_w)
        return float(special.logsumexp(heights))

    x = np.zeros(HIERARCHY.n_inner)
    x[1:3] = 3.0, 0.5
    away = x.copy()
    away[first] = 0.7
    expected = float(own.log_density(away)[0] - own.log_density(x)[0])
    assert integral(away) - integral(x) == pytest.approx(expected, abs=1e-4)


def test_most_draws_of_a_small_ledger_count() -> None:
    inference = Inference(InnerMode(Target(OBSERVATIONS, HIERARCHY)))
    posterior = inference.run(rng=np.random.default_rng(0))
    assert posterior.pareto_k < 0.7
    assert posterior.effective > 0.1 * len(posterior.x)
