"""Reading a request body: bytes in, a checked request out, or a problem that names every fault."""

from functools import cached_property
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from app.problems import MAX_ERRORS, FieldError, InvalidInput, MalformedJson, Problem, json_pointer
from app.schemas.expectations import expected, known_fields, schema_at
from app.schemas.fields import CROSS_FIELD
from app.schemas.json_text import check_json

Request = TypeVar("Request", bound=BaseModel)

# Listing a fault costs about half a kilobyte; past this many the body is simply not a request.
MAX_FAULTS = 50_000
# What a body larger than this lacks at its top is told before anything else is looked at.
LARGE_BYTES = 2**18


class RequestBody(Generic[Request]):
    """The bodies that one operation takes."""

    def __init__(self, model: type[Request]) -> None:
        """Take the pydantic model of the request."""
        self.model = model

    @cached_property
    def _json_schema(self) -> dict[str, Any]:
        return self.model.model_json_schema()

    @cached_property
    def _required(self) -> set[str]:
        return set(self._json_schema.get("required", ()))

    def parse(self, data: bytes) -> Request:
        """Return the request in a JSON body.

        Raises
        ------
        MalformedJson
            If the bytes are not JSON, or name a field twice in one object.
        InvalidInput
            If a field is missing, unknown, of the wrong type, out of range, or at odds with another.
        """
        names = check_json(data)
        if names is not None and len(data) > LARGE_BYTES and (missing := self._required - names):
            # Each would carry a copy of the whole body.
            raise InvalidInput([self._field_error("missing", (name,), "") for name in sorted(missing)])
        try:
            return self.model.model_validate_json(data)
        except ValidationError as error:
            problem = self._problem(error)
        raise problem

    def _problem(self, error: ValidationError) -> Problem:
        if error.error_count() > MAX_FAULTS:
            return InvalidInput([FieldError("", f"has more than {MAX_FAULTS:,} faults: try a few entries first")])
        faults = error.errors(include_url=False, include_input=False)
        if faults[0]["type"] == "json_invalid":
            return MalformedJson(str(faults[0]["ctx"]["error"]))
        # A default that depends on a faulty field is no fault of its own.
        faults = [fault for fault in faults if fault["type"] != "default_factory_not_called"]
        listed = [self._field_error(fault["type"], fault["loc"], fault["msg"]) for fault in faults[:MAX_ERRORS]]
        return InvalidInput(listed, n_faults=len(faults))

    def _field_error(self, kind: str, location: tuple[str | int, ...], message: str) -> FieldError:
        root = self._json_schema
        path, schema, nullable = schema_at(location, root)
        pointer = json_pointer(path)
        if kind == CROSS_FIELD:
            return FieldError(pointer, message)
        if kind == "extra_forbidden" or schema is None:
            _, parent, _ = schema_at(location[:-1], root)
            return FieldError(pointer, known_fields(str(path[-1]), parent or root))
        right = expected(schema, root) + (", or null" if nullable else "")
        return FieldError(pointer, f"is required: {right}" if kind == "missing" else f"must be {right}")
