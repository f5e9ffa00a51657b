"""Everything that can be wrong with a call, and the one body that says so (RFC 9457).

The exception tree::

    Problem                     500  unexpected
    ├── MalformedJson           400  the body is not JSON
    ├── AmbiguousLength         400  the body has two lengths
    ├── Unauthorized            401  a key is needed, or the one sent is not valid
    ├── Forbidden               403  not from this computer, or the key is for reading only
    ├── NotFound                404  no such address or thing
    ├── MethodNotAllowed        405  the address takes another method
    ├── TooSlow                 408  the body came in too slowly
    ├── Conflict                409  at odds with what is recorded
    ├── PreconditionFailed      412  what is to be changed has changed meanwhile, or is there already
    ├── TooLarge                413  the body is over its limit
    ├── UnsupportedMediaType    415  the body is not said to be of the type taken
    ├── InvalidInput            422  JSON or CSV, but not what the operation takes
    │   └── TooMuchWork         422  as the operation takes it, but more than one call may ask for
    ├── PreconditionRequired    428  a change does not say which version it changes
    ├── TooManyCalls            429  the key has made too many calls, or the address has sent too many wrong keys
    ├── Busy                    503  too many calls wait
    ├── Stopping                503  the server ends before the call is done
    ├── StoreUnavailable        503  the database cannot be used
    └── HttpProblem             4xx  any other refusal of the framework
"""

from app.problems.bodies import (
    MAX_CELL_ERRORS,
    MAX_ERRORS,
    MOST_SECONDS,
    AmbiguousLength,
    InvalidCells,
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
    HttpProblem,
    MethodNotAllowed,
    NotFound,
    PreconditionFailed,
    PreconditionRequired,
    TooManyCalls,
    Unauthorized,
)
from app.problems.fault import (
    MAX_TOKEN_CHARACTERS,
    FieldError,
    json_pointer,
)
from app.problems.kinds import (
    KINDS,
)
from app.problems.problem import (
    MEDIA_TYPE,
    Problem,
)
from app.problems.server import (
    Busy,
    Stopping,
    StoreUnavailable,
)

__all__ = [
    "KINDS",
    "MAX_CELL_ERRORS",
    "MAX_ERRORS",
    "MAX_TOKEN_CHARACTERS",
    "MEDIA_TYPE",
    "MOST_SECONDS",
    "AmbiguousLength",
    "Busy",
    "Conflict",
    "FieldError",
    "Forbidden",
    "HttpProblem",
    "InvalidCells",
    "InvalidInput",
    "MalformedJson",
    "MethodNotAllowed",
    "NotFound",
    "PreconditionFailed",
    "PreconditionRequired",
    "Problem",
    "Stopping",
    "StoreUnavailable",
    "TooLarge",
    "TooManyCalls",
    "TooMuchWork",
    "TooSlow",
    "Unauthorized",
    "UnsupportedMediaType",
    "json_pointer",
]
