"""Every problem with a code of its own, as the documentation lists them."""

from app.problems.bodies import (
    AmbiguousLength,
    InvalidInput,
    MalformedJson,
    TooLarge,
    TooMuchWork,
    TooSlow,
    UnsupportedMediaType,
)
from app.problems.calls import (
    Conflict,
    Forbidden,
    MethodNotAllowed,
    NotFound,
    PreconditionFailed,
    PreconditionRequired,
    TooManyCalls,
    Unauthorized,
)
from app.problems.problem import Problem
from app.problems.server import Busy, Stopping, StoreUnavailable

KINDS: tuple[type[Problem], ...] = (
    MalformedJson,
    AmbiguousLength,
    Unauthorized,
    Forbidden,
    NotFound,
    MethodNotAllowed,
    TooSlow,
    Conflict,
    PreconditionFailed,
    TooLarge,
    UnsupportedMediaType,
    InvalidInput,
    TooMuchWork,
    PreconditionRequired,
    TooManyCalls,
    Problem,
    Busy,
    Stopping,
    StoreUnavailable,
)
"""Every problem with a code of its own, in order of status."""
