"""Running the server."""

import uvicorn

from app.main import create_app
from app.settings import Settings


def serve(settings: Settings) -> None:
    """Serve until stopped."""
    uvicorn.run(
        create_app(settings),
        host=settings.host,
        port=settings.port,
        loop="asyncio",
        http="h11",
        ws="none",
        server_header=False,
    )
