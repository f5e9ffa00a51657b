"""Whether a call asks for a page or for data (RFC 9110, section 12.5.1)."""

HTML, CSV, JSON = ("text", "html"), ("text", "csv"), ("application", "json")


def prefers_html(accept: str) -> bool:
    """Whether an Accept header names HTML and does not name JSON with at least the same weight."""
    return _prefers(accept, HTML)


def prefers_csv(accept: str) -> bool:
    """Whether an Accept header names CSV itself, not any text, and not JSON with at least the same weight."""
    return "text/csv" in accept.lower() and _prefers(accept, CSV)


def _prefers(accept: str, wanted: tuple[str, str]) -> bool:
    own, json = _named_weight(accept, wanted), _named_weight(accept, JSON)
    return own is not None and own > 0 and (json is None or own > json)


def _named_weight(accept: str, wanted: tuple[str, str]) -> float | None:
    """Return the weight that a header gives to a type by its name or its family, None where it names neither."""
    weights: dict[bool, float] = {}
    for part in accept.lower().split(","):
        name, *parameters = (piece.strip() for piece in part.split(";"))
        family, _, kind = name.partition("/")
        if family == wanted[0] and kind in (wanted[1], "*"):
            weights[kind == "*"] = _weight(parameters)
    return weights.get(False, weights.get(True))


def _weight(parameters: list[str]) -> float:
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip() == "q":
            try:
                return min(max(float(value), 0.0), 1.0)
            except ValueError:
                return 0.0
    return 1.0
