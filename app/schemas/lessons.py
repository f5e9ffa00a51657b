"""``GET /v1/lessons``: what own boxes teach, as things to do."""

from typing import Literal

from pydantic import Field

from app.schemas.answers import AnswerModel

LessonAbout = Literal["seller", "genus", "cultivar", "container", "roots", "service"]
LessonCode = Literal[
    "renegotiate_or_stop",
    "getting_worse",
    "agree_on_claims",
    "ask_for_speed",
    "keep_buying",
    "faster_way",
    "slower_way",
    "ask_for_other",
    "ask_for_it",
    "table_overruled",
]


class Lesson(AnswerModel):
    """What to do about a seller, a plant, a packing or a service, and from how many boxes."""

    about: LessonAbout
    label: str = Field(description="its name as people write it")
    code: LessonCode
    boxes: int = Field(ge=0, description="boxes (of agree_on_claims: claims) that it rests on")
    text: str


class LostBox(AnswerModel):
    """An arrived box that was perhaps lost for reasons that neither days nor temperature show."""

    id: str
    shipment: str = Field(description="its reference, else its id")
    chance: float = Field(ge=0, le=1)
    text: str


class LessonsAnswer(AnswerModel):
    """What to do, the most pressing first.

    A lesson is told only from five boxes on and where the whole 80 % interval lies on one side.
    """

    model_version: str
    boxes: int = Field(ge=0, description="boxes behind the fit; 0: rules of thumb only")
    lessons: list[Lesson]
    undecided: list[str] = Field(description="of whom nothing can be said, in sentences")
    lost: list[LostBox] = Field(description="from a chance of 10 % on, the newest first, at most 20")
