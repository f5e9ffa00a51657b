"""Record the OpenAPI document that callers rely on: ``python -m tests.app.record_openapi``, from the top.

Without prose and examples: what is left is what breaks somebody. `test_openapi_changes` compares it with the document
of the day.
"""

from pathlib import Path
from typing import Any

from app.http.openapi import openapi_document
from app.main import create_app
from app.settings import Settings
from tests.app.api_changes import bare
from tests.app.record_examples import laid_out

SNAPSHOT_FILE = Path(__file__).with_name("openapi_snapshot.json")


def document_of_the_day() -> Any:
    """Return the document as it would be recorded now."""
    return bare(openapi_document(create_app(Settings())))


def main() -> None:
    """Write the snapshot."""
    SNAPSHOT_FILE.write_text(laid_out(document_of_the_day()) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
