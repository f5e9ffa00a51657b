"""The service round the model: HTTP API, command line, answers in plain words."""
