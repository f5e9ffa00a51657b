"""The buyer's page: static files, templates of pages to print, and the headers they travel with.

What the browser gets; no answers are computed here.
"""

from app.page.files import PREFIX, Compressed, PageFiles
from app.page.service_worker import PATH, SCRIPT_HEADERS, service_worker

__all__ = ["PATH", "PREFIX", "SCRIPT_HEADERS", "Compressed", "PageFiles", "service_worker"]
