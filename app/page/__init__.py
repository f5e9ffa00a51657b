"""The buyer's page: static files, templates of pages to print, and the headers they travel with."""
