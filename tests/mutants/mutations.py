"""Mutations of a module: every place where one operator, constant, condition or answer can be another.

Left alone, since no behaviour depends on them: docstrings and other texts, annotations, decorators, what an exception
says, and the aliases of types.
"""

import ast
from collections.abc import Iterator
from typing import NamedTuple

# Each operator as it is written, and the one that takes its place.
COMPARISONS: dict[type[ast.cmpop], tuple[str, str]] = {
    ast.Lt: ("<", "<="), ast.LtE: ("<=", "<"), ast.Gt: (">", ">="), ast.GtE: (">=", ">"),
    ast.Eq: ("==", "!="), ast.NotEq: ("!=", "=="), ast.Is: ("is", "is not"), ast.IsNot: ("is not", "is"),
    ast.In: ("in", "not in"), ast.NotIn: ("not in", "in"),
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], str] = {
    ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.Pow: "*", ast.FloorDiv: "/", ast.Mod: "*",
    ast.BitAnd: "|", ast.BitOr: "&",
}  # fmt: skip
MORE = 1.25


class Mutation(NamedTuple):
    """One change: the bytes from `start` to `end` of a module's source become `text`."""

    kind: str
    line: int
    start: int
    end: int
    text: str

    def applied(self, source: bytes) -> bytes:
        """Return the source with the change."""
        return source[: self.start] + self.text.encode() + source[self.end :]


def mutations(source: bytes) -> list[Mutation]:
    """Return every mutation of a module, in the order of its source."""
    starts = [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))

    def change(kind: str, node: ast.expr, text: str) -> Mutation:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        start, end = starts[node.lineno - 1] + node.col_offset, starts[node.end_lineno - 1] + node.end_col_offset
        return Mutation(kind, node.lineno, start, end, text)

    return sorted(
        (change(*found) for node in _live(ast.parse(source)) for found in _changes(node)), key=lambda made: made[2:]
    )


def _live(node: ast.AST) -> Iterator[ast.AST]:
    """Yield the nodes on which behaviour depends."""
    yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list") or isinstance(node, ast.Raise | ast.JoinedStr):
            continue
        if isinstance(node, ast.Assign) and isinstance(value, ast.Subscript):
            continue  # Array = NDArray[np.float64]
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _live(child)


def _changes(node: ast.AST) -> Iterator[tuple[str, ast.expr, str]]:
    text = ast.unparse
    match node:
        case ast.Compare(left, ops, comparators):
            for i in range(len(ops)):
                signs = [COMPARISONS[type(op)][i == j] for j, op in enumerate(ops)]
                pairs = " ".join(f"{sign} {text(of)}" for sign, of in zip(signs, comparators, strict=True))
                yield "comparison", node, f"({text(left)} {pairs})"
        case ast.BinOp(left, op, right) if type(op) in ARITHMETIC:
            yield "arithmetic", node, f"(({text(left)}) {ARITHMETIC[type(op)]} ({text(right)}))"
        case ast.AugAssign(_, op, value) if type(op) in ARITHMETIC:
            # x -= y is x += -(y), x *= y is x /= y: the value is changed, since the sign has no node of its own.
            change = {ast.Add: "-({})", ast.Sub: "-({})", ast.Mult: "1 / ({})", ast.Div: "1 / ({})"}.get(type(op))
            if change is not None:
                yield "arithmetic", value, f"({change.format(text(value))})"
        case ast.BoolOp(op, values):
            other = " or " if isinstance(op, ast.And) else " and "
            yield "boolean", node, f"({other.join(f'({text(value)})' for value in values)})"
        case ast.UnaryOp(ast.USub() | ast.Not() | ast.Invert(), operand):
            yield "boolean", node, f"({text(operand)})"
        case ast.If(test) | ast.IfExp(test) | ast.While(test):
            yield "boolean", test, f"(not ({text(test)}))"
        case ast.Return(ast.expr() as value) if not (isinstance(value, ast.Constant) and value.value is None):
            yield "return", value, "None"
        case ast.Constant(bool() as value):
            yield "constant", node, str(not value)
        case ast.Constant(int() as value):
            yield "constant", node, str(value + 1)
        case ast.Constant(float() as value):
            yield "constant", node, repr(value * MORE if value else 1.0)
