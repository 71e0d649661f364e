"""What can be wrong in one piece of a program: from a node of its syntax tree to those that could stand there instead.

Never changed: text for people (sentences, f-strings), annotations and decorators.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import TypeVar

Members = Mapping[str, Sequence[str]]
"""The members of each enumeration in their order, by the name the module has for it."""

Item = TypeVar("Item")

_WORD = re.compile(r"[a-z][a-z0-9_/-]*")
"""A string that is a name for the program and no sentence for a person."""

_COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
}  # fmt: skip

_ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.Pow: ast.Mult, ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr, ast.BitXor: ast.BitOr,
}  # fmt: skip

_CALLS = {"min": "max", "max": "min", "any": "all", "all": "any"}


def changed(node: ast.expr, members: Members) -> Iterator[ast.expr]:
    """Yield everything that could stand where `node` does, but for what is left out of it (`lessened`)."""
    match node:
        case ast.Compare():
            yield from _compared(node)
        case ast.BoolOp():
            yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            yield node.operand
        case ast.BinOp() if not (is_text(node.left) or is_text(node.right)):
            yield ast.BinOp(node.left, other_operator(node.op), node.right)
        case ast.Constant():
            yield from _another_value(node.value)
        case ast.Call(func=ast.Name(id=name)) if name in _CALLS:
            yield ast.Call(ast.Name(_CALLS[name]), node.args, node.keywords)
        case ast.Attribute():
            yield from _other_member(node, members)


def lessened(node: ast.expr, by_name: set[str]) -> Iterator[tuple[str, ast.expr]]:
    """Yield, for each part that can be left out of `node`, its text (of an entry its key alone) and what is left.

    Of a call only arguments given by name are left out, and only of functions in `by_name`: elsewhere that is an error
    whatever the rule.
    """
    match node:
        case ast.BoolOp():
            for part, rest in _without(node.values):
                yield ast.unparse(part), rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)
        case ast.Dict():
            for (key, value), entries in _without(list(zip(node.keys, node.values, strict=True))):
                yield ast.unparse(key or value), ast.Dict([key for key, _ in entries], [value for _, value in entries])
        case ast.Set() | ast.List() | ast.Tuple() if not isinstance(node, ast.Tuple) or _is_table(node):
            for part, rest in _without(node.elts):
                yield ast.unparse(part), _collection(node, rest)
        case ast.Call(func=ast.Name(id=name)) if name in by_name:
            named = ((of, rest) for of, rest in _without(node.keywords) if not is_text(of.value))
            yield from ((of.arg or "", ast.Call(node.func, node.args, rest)) for of, rest in named)


def refused(test: ast.expr) -> Iterator[ast.expr]:
    """Yield the opposite of a condition that has no operator of its own to be changed."""
    if not isinstance(test, ast.Compare | ast.BoolOp | ast.Constant | ast.UnaryOp):
        yield ast.UnaryOp(ast.Not(), test)


def returned(value: ast.expr, annotation: str) -> Iterator[ast.expr]:
    """Yield what else a function with this annotation could give."""
    if "None" in annotation.split(" | ") and not (isinstance(value, ast.Constant) and value.value is None):
        yield ast.Constant(None)
    if annotation == "bool":
        yield from refused(value)


def other_operator(operator: ast.operator) -> ast.operator:
    """Return the operator that is taken for this one."""
    return _ARITHMETIC[type(operator)]()


def is_text(node: ast.AST) -> bool:
    """Whether anything in it is text for people."""
    return any(
        isinstance(inner, ast.JoinedStr)
        or (isinstance(inner, ast.Constant) and isinstance(inner.value, str) and not _WORD.fullmatch(inner.value))
        for inner in ast.walk(node)
    )


def _compared(node: ast.Compare) -> Iterator[ast.expr]:
    for nth, operator in enumerate(node.ops):
        for other in _COMPARISONS[type(operator)]:
            yield ast.Compare(node.left, [*node.ops[:nth], other(), *node.ops[nth + 1 :]], node.comparators)


def _another_value(value: object) -> Iterator[ast.expr]:
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int | float):
        yield ast.Constant(value + 1)
    elif isinstance(value, str) and _WORD.fullmatch(value):
        yield ast.Constant(f"not-{value}")


def _other_member(node: ast.Attribute, members: Members) -> Iterator[ast.expr]:
    """The next member of the same enumeration, after the last one the first."""
    known = members.get(ast.unparse(node.value), ())
    if node.attr in known and len(known) > 1:
        yield ast.Attribute(node.value, known[(known.index(node.attr) + 1) % len(known)])


def _without(items: list[Item]) -> Iterator[tuple[Item, list[Item]]]:
    for nth, item in enumerate(items):
        yield item, items[:nth] + items[nth + 1 :]


def _is_table(node: ast.Tuple) -> bool:
    return len(node.elts) > 1 and all(isinstance(row, ast.Tuple) for row in node.elts)


def _collection(node: ast.Set | ast.List | ast.Tuple, rest: list[ast.expr]) -> ast.expr:
    if isinstance(node, ast.Set):
        return ast.Set(rest) if rest else ast.Call(ast.Name("set"), [], [])
    return ast.List(rest) if isinstance(node, ast.List) else ast.Tuple(rest)
