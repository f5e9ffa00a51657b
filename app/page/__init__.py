"""The buyer's page: static files, and the headers they travel with."""
