"""Answers about the ledger as a whole."""

from pydantic import Field

from app.schemas.answers import AnswerModel
from app.schemas.doubtful import Doubtful


class ImportAnswer(AnswerModel):
    """What an import did, in shipments."""

    added: int = Field(description="shipments that were not in the ledger")
    unchanged: int = Field(description="shipments that were in the ledger as the file has them")
    replaced: int = Field(description="shipments that were in the ledger otherwise; their old versions are kept")
    lines: int = Field(description="rows of the file, the header not counted")
    doubtful: list[Doubtful] = Field(
        default=[], description="rows that do not fit what else is known; they are in the ledger and used"
    )
    unchecked: int = Field(
        default=0, ge=0, description="shipments beyond the first of a large file: the next refit looks at them"
    )
