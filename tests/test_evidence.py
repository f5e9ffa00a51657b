"""The evidence that is kept is what its command writes now."""

from pathlib import Path

from app.cli.demo import demo_folder, stored_model
from model.reference.tables import load_reference
from tests.evidence import criticism, published

FOLDER = Path(published.__file__).parent


def test_published_findings_stand_as_the_model_answers_them_now() -> None:
    kept = (FOLDER / "published.md").read_text(encoding="utf-8")
    assert published.report() == kept, "run `python -m tests.evidence published`, and read what changed"


def test_disagreements_stay() -> None:
    """With the reason; and what was used to make a table is told apart."""
    found = published.findings()
    against = [one for one in found if one.verdict.startswith("disagrees")]
    assert against
    assert all(len(one.verdict) > len("disagrees: ") for one in against)
    assert {one.used for one in found} == {True, False}


def test_the_model_beside_the_boxes_of_the_demonstration_stands_as_their_fit_has_it() -> None:
    """The stored fit holds what its refit found: `python -m tests.demo_boxes`."""
    kept = (FOLDER / "criticism.md").read_text(encoding="utf-8")
    fit = stored_model(demo_folder(), load_reference())
    assert criticism.written(fit) == kept, "run `python -m tests.demo_boxes` and `python -m tests.evidence criticism`"
