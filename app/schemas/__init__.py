"""Requests and answers of the HTTP API, one module per endpoint."""
