"""Records that look wrong, until they are confirmed or corrected."""

from pydantic import Field

from app.schemas.answers import AnswerModel


class Doubtful(AnswerModel):
    """A record that does not fit what else is known; it is used as it stands.

    Where its times look wrong, times in transit are not learned from it.
    """

    shipment: str = Field(description="its reference, else its id")
    id: str
    line: int | None = Field(description="position in the shipment, from 0; null: the shipment as a whole")
    genus: str | None = Field(description="of the line")
    row: int | None = Field(description="of the file just imported, the header being 1; null elsewhere")
    column: str
    code: str = Field(
        description="fahrenheit, digit_lost, month_off, day_month_swapped, healthy_dead_swapped, implausible,"
        " seller_spelling, genus_spelling, recorded_twice, date_ahead, too_fast"
    )
    text: str = Field(description="what does not fit, the likeliest slip, and what to do")
    chance: float | None = Field(ge=0, le=1, description="that it is wrong in this way; null: no matter of chance")
