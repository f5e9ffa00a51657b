"""One module a service: a validated request and the engine in, an answer out."""
