"""A call and its answer: bytes read on the event loop, everything that costs time in a worker thread."""

from collections.abc import Callable
from typing import TypeVar

from fastapi import Request, Response
from pydantic import BaseModel

from app.http.pools import Pool, pools_of
from app.problems import UnsupportedMediaType
from app.schemas import Batch, RequestBody
from app.serving import Engine

Asked = TypeVar("Asked", bound=BaseModel)
Batched = TypeVar("Batched", bound=Batch)
Service = Callable[[Asked, Engine], BaseModel | bytes]


def is_json(content_type: str) -> bool:
    """Whether a Content-Type header says JSON, the only type taken; a body without one is read as JSON."""
    media_type = content_type.partition(";")[0].strip().lower()
    return media_type in ("", "application/json") or (
        media_type.startswith("application/") and media_type.endswith("+json")
    )


def to_bytes(answer: BaseModel | bytes) -> bytes:
    """Return an answer as JSON."""
    return answer if isinstance(answer, bytes) else answer.model_dump_json().encode()


async def in_worker(request: Request, pool: Pool, work: Callable[[Engine], BaseModel | bytes]) -> Response:
    """Answer with what `work` returns, run in a thread of a pool."""
    engine = request.app.state.active.engine  # one model for the whole answer, whatever is activated meanwhile
    content = await pool.run(request, lambda: to_bytes(work(engine)))
    return Response(content, media_type="application/json")


async def exchange(
    request: Request, body: RequestBody[Asked], service: Service[Asked], *, quick_bytes: int = 0
) -> Response:
    """Read the request body, ask the service, and answer.

    A body of up to `quick_bytes` asks for so little that it does not wait with the others.

    Raises
    ------
    Problem
        If the body is not JSON, too large, or not what the operation takes.
    """
    if not is_json(request.headers.get("content-type", "")):
        raise UnsupportedMediaType
    data = await request.body()
    pools = pools_of(request)
    pool = pools.quick if len(data) <= quick_bytes else pools.computing
    return await in_worker(request, pool, lambda engine: service(body.parse(data), engine))
