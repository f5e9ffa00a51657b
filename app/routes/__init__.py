"""HTTP routes: parse, one service call, serialise."""
