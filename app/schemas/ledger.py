"""Answers about the ledger as a whole."""

from pydantic import Field

from app.schemas.answers import AnswerModel


class ImportAnswer(AnswerModel):
    """What an import did, in shipments."""

    added: int = Field(description="shipments that were not in the ledger")
    unchanged: int = Field(description="shipments that were in the ledger as the file has them")
    replaced: int = Field(description="shipments that were in the ledger otherwise; their old versions are kept")
    lines: int = Field(description="rows of the file, the header not counted")
