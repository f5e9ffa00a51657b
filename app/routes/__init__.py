"""HTTP routes: parse, one call of a room, serialise. A new path of a kind that is here goes into its module;
only app.main imports them.
"""

__all__: list[str] = []
