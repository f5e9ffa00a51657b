"""The manifest of a fitted model's artefact: what it is, in plain JSON, and the seal on it and its arrays."""

import hashlib
import json
from typing import Annotated, Self

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from app.serving.criticism import Criticism

FORMAT = 4
JsonLevel = str | tuple[str, int]


class ArtefactError(ValueError):
    """A stored model that cannot be used; the message says why and what to do."""


class DelayCheck(BaseModel):
    """Quantiles 0.1, 0.5 and 0.9 of kappa with all boxes, and without those later than their service's usual p90."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    n_left_out: Annotated[int, Field(ge=1)]
    kappa: tuple[float, float, float]
    without: tuple[float, float, float]


class Manifest(BaseModel):
    """What an artefact is, in plain JSON.

    `levels` names the rows of its arrays by kind of effect; a level of drift is a pair (seller, quarter). `lanes` names
    those of the times in transit: service, origin, destination, the last two empty for a lane without own boxes.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    format: int
    package_version: str
    numpy_version: str
    fitted_at: AwareDatetime
    data_fingerprint: str
    reference_fingerprint: str
    seed: int
    n_boxes: Annotated[int, Field(ge=0)]
    n_lines: Annotated[int, Field(ge=0)]
    n_plants: Annotated[int, Field(ge=0)]
    n_draws: Annotated[int, Field(ge=1)]
    n_replaced: Annotated[int, Field(ge=0)]
    levels: dict[str, list[JsonLevel]]
    lanes: list[tuple[str, str, str]]
    n_rechecked_boxes: Annotated[int, Field(ge=0)]
    n_rechecked_plants: Annotated[int, Field(ge=0)]
    delay_check: DelayCheck | None
    scales_at_mode: dict[str, float]
    prior_covariance: float
    diagnostics: dict[str, float | int | bool | str]
    criticism: Criticism | None = None
    """None in manifests from before there was any."""
    sha256: str
    """Of the rest of the manifest and of the arrays."""

    def sealed(self, arrays: bytes) -> Self:
        """Return the manifest with the hash of itself and of the arrays, as the bytes of an .npz file."""
        return self.model_copy(update={"sha256": self.seal(arrays)})

    def seal(self, arrays: bytes) -> str:
        """Return the SHA-256 of the manifest but for its own hash, written in one way only, and of the arrays."""
        absent = {"criticism"} if self.criticism is None else set()
        # As it was sealed before there was any criticism.
        own = self.model_dump_json(exclude={"sha256"} | absent).encode()
        # The length before it, so that no byte can move from one to the other.
        return hashlib.sha256(b"%d\n%b%b" % (len(own), own, arrays)).hexdigest()


def read_manifest(text: str) -> Manifest:
    """Return the manifest in a JSON text.

    Raises
    ------
    ArtefactError
        If it is not one that this version writes.
    """
    try:
        found = json.loads(text).get("format")
    except (ValueError, AttributeError):
        raise ArtefactError("the manifest of the stored model is not JSON") from None
    if found != FORMAT:
        raise ArtefactError(f"the stored model has format {found!r}, this version reads {FORMAT}: refit")
    try:
        return Manifest.model_validate_json(text)
    except ValidationError as error:
        raise ArtefactError(f"the manifest of the stored model has {error.error_count()} faults: refit") from None
