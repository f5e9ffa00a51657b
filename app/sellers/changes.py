"""Recording a seller, or changing what is recorded of it."""

from datetime import datetime

from pydantic import TypeAdapter, ValidationError

from app.problems import FieldError, InvalidInput, NotFound, Problem
from app.records import Preconditions, seller_key
from app.schemas import RequestBody, SellerRequest, Text
from app.store import Database, SellerDetails, SellerRecord, add_seller, change_seller, read_seller

BODY = RequestBody(SellerRequest)
_NAME: TypeAdapter[str] = TypeAdapter(Text)


def put_seller(
    database: Database, name: str, preconditions: Preconditions, data: bytes, *, now: datetime
) -> tuple[SellerRecord, bool]:
    """Record a seller by a name in any of its spellings, and return it and whether it is new.

    Raises
    ------
    NotFound
        If a seller is to be changed that is not recorded.
    PreconditionRequired, PreconditionFailed
        If the call does not say which version it changes, or says another one than there is.
    MalformedJson, InvalidInput
        If the body, or a name for a new seller, is not what is taken.
    StoreUnavailable
        If the database cannot be used.
    """
    asked = _details(name, data)
    if database.absent and not preconditions.creates:
        raise _no_such_seller(preconditions)
    with database.writing() as connection:
        key = seller_key(name)
        before = None if "\0" in key else read_seller(connection, key)
        if before is not None:
            preconditions.check_change(before.etag)
        elif not preconditions.creates:
            raise _no_such_seller(preconditions)
        if isinstance(asked, Problem):
            raise asked
        if before is None:
            return add_seller(connection, key, asked, now=now), True
        return change_seller(connection, before, asked, now=now), False


def _no_such_seller(preconditions: Preconditions) -> Problem:
    if preconditions.if_match is not None:
        return NotFound("There is no such seller to change: record it with If-None-Match: *.")
    try:
        preconditions.check_creation()
    except Problem as refusal:
        return refusal
    raise AssertionError("a seller that may be made is not missing")


def _details(name: str, data: bytes) -> SellerDetails | Problem:
    """Return what is to be recorded, or what is wrong with it: a refusal that comes after those of the version."""
    try:
        address = _NAME.validate_python(name)
    except ValidationError:
        right = "the name in the address must be a text of 1 to 120 characters without control characters"
        return InvalidInput([FieldError("/name", right)])
    try:
        asked = BODY.parse(data)
    except Problem as problem:
        return problem
    if asked.name is not None and seller_key(asked.name) != seller_key(name):
        right = "must be the name in the address, in any spelling: another name is another seller"
        return InvalidInput([FieldError("/name", right)])
    return SellerDetails(
        name=asked.name or address,
        kind=asked.kind,
        country=asked.country,
        notes=asked.notes,
        recourse=asked.recourse,
        packing_json=asked.packing.model_dump_json(exclude_none=True),
        answers_json=asked.answers.model_dump_json(exclude_none=True),
    )
