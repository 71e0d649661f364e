"""The way through a module from its first line to its last: each change that can be made, and where it is made."""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from tests.campaigns.mutations import Members, changed, is_text, lessened, other_operator, refused, returned

LONGEST_TEXT = 80
"""A change is told by the largest piece of source around it that is no longer than this, in characters."""

NOTHING = "nothing"
"""What stands for a part that was left out."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands.

    Attributes:
        names: of the classes, functions and entries of tables around it.
        called: whether it runs only when its function is called. gives: what that is annotated to return.
        inner: whether more of its function can follow though it stands last in its block.
        lines: first and last of its statement, or of the head of one with a block.
        piece: the largest piece of source around it that is short enough to tell it by; None as long as none is.
        words: whether strings without a space are names for the program, as they are but for an enumeration's words.
    """

    names: tuple[str, ...] = ()
    called: bool = False
    gives: str = ""
    inner: bool = False
    lines: tuple[int, int] = (0, 0)
    piece: ast.AST | None = None
    words: bool = True

    def within(self, name: str) -> Place:
        """The place inside something that has a name."""
        return replace(self, names=(*self.names, name), piece=None)

    def entry(self, key: str) -> Place:
        """The place of a table's entry."""
        return replace(self, names=(*self.names[:-1], f"{self.names[-1]}[{key}]"), piece=None)

    def around(self, node: ast.AST) -> Place:
        """The place of a part of what stands here."""
        return replace(self, piece=node) if self.piece is None and len(ast.unparse(node)) <= LONGEST_TEXT else self


@dataclass(frozen=True, slots=True)
class Change:
    """One change: `new` instead of `target`, told as `before` and `after`."""

    place: Place
    target: ast.expr | ast.stmt
    new: ast.AST
    before: str
    after: str


class Walk:
    """Goes through a module whose enumerations are `members`; functions `by_name` can do without a named argument."""

    def __init__(self, members: Members, by_name: set[str]) -> None:
        self._members = members
        self._by_name = by_name

    def block(self, body: Sequence[ast.stmt], place: Place, bound: set[str]) -> Iterator[Change]:
        """Every change in statements one after the other; names that they bind are added to `bound`.

        Raises ValueError for a kind of statement that it cannot look into.
        """
        for statement in body:
            yield from self._statement(statement, place, bound)

    def _statement(self, node: ast.stmt, place: Place, bound: set[str]) -> Iterator[Change]:
        inner = replace(place, inner=True)
        match node:
            case ast.Import() | ast.ImportFrom() | ast.Pass() | ast.Assert() | ast.Expr(value=ast.Constant()):
                pass
            case ast.FunctionDef():
                yield from self._function(node, place.within(node.name))
            case ast.ClassDef():
                words = not is_enumeration(node)
                yield from self.block(node.body, replace(place.within(node.name), words=words), set())
            case ast.If() | ast.While():
                yield from self._expression(node.test, replace(place, lines=_lines(node.test)), condition=True)
                yield from self.block([*node.body, *node.orelse], inner, bound)
            case ast.For():
                yield from self._expression(node.iter, replace(place, lines=_lines(node.iter)))
                bound |= _names(node.target)
                yield from self.block([*node.body, *node.orelse], inner, bound)
            case ast.Return() | ast.Raise() | ast.Break() | ast.Continue() | ast.Delete() | ast.Expr():
                yield from self._simple(node, replace(place, lines=_lines(node)).around(node), bound)
            case ast.Assign() | ast.AnnAssign() | ast.AugAssign():
                target = node.targets[0] if isinstance(node, ast.Assign) else node.target
                named = place if place.called else place.within(ast.unparse(target))
                yield from self._simple(node, replace(named, lines=_lines(node)).around(node), bound)
                bound |= _names(target)
            case _:
                raise ValueError(f"Line {node.lineno}: nobody has said what can be wrong in a {type(node).__name__}.")

    def _function(self, node: ast.FunctionDef, place: Place) -> Iterator[Change]:
        """A function's defaults, which run when it is made, and its body, which does not."""
        given = node.args
        for default in [*given.defaults, *given.kw_defaults]:
            if default is not None:
                yield from self._expression(default, replace(place, lines=_lines(default)))
        gives = ast.unparse(node.returns) if node.returns is not None else ""
        bound = {argument.arg for argument in [*given.posonlyargs, *given.args, *given.kwonlyargs]}
        yield from self.block(node.body, replace(place, called=True, gives=gives, inner=False), bound)

    def _simple(self, node: ast.stmt, place: Place, bound: set[str]) -> Iterator[Change]:
        if _can_be_left_out(node, place, bound):
            yield Change(place, node, ast.Pass(), ast.unparse(node), NOTHING)
        if isinstance(node, ast.AugAssign):
            yield _change(place, node, ast.AugAssign(node.target, other_operator(node.op), node.value))
        if isinstance(node, ast.Return) and node.value is not None:
            for new in returned(node.value, place.gives):
                yield _change(place, node.value, new)
        if isinstance(node, ast.Expr | ast.Assign | ast.AnnAssign | ast.AugAssign | ast.Return) and node.value:
            yield from self._expression(node.value, place)

    def _expression(self, node: ast.expr, place: Place, *, condition: bool = False) -> Iterator[Change]:
        if _is_left_alone(node):
            return
        here = place.around(node)
        if condition:
            yield from (_change(here, node, new) for new in refused(node))
        if here.words or not _is_word(node):
            yield from (_change(here, node, new) for new in changed(node, self._members))
        for part, left in lessened(node, self._by_name):
            yield _change(here, node, left) if here.piece else Change(here, node, left, part, NOTHING)
        yield from self._parts(node, here)

    def _parts(self, node: ast.AST, place: Place) -> Iterator[Change]:
        """What stands in an expression; of a dictionary the values, of a comprehension its conditions too."""
        match node:
            case ast.Dict():
                for key, value in zip(node.keys, node.values, strict=True):
                    table = key is not None and place.names and not place.called
                    yield from self._expression(value, place.entry(ast.unparse(key)) if table and key else place)
            case ast.IfExp():
                yield from self._expression(node.test, place, condition=True)
                yield from self._expression(node.body, place)
                yield from self._expression(node.orelse, place)
            case ast.comprehension():
                yield from self._expression(node.iter, place)
                for test in node.ifs:
                    yield from self._expression(test, place, condition=True)
            case _:
                for part in ast.iter_child_nodes(node):
                    if isinstance(part, ast.expr):
                        yield from self._expression(part, place)
                    elif isinstance(part, ast.keyword | ast.comprehension):
                        yield from self._parts(part, place)


def is_enumeration(node: ast.ClassDef) -> bool:
    """Whether a class is an enumeration by its own word."""
    return any(ast.unparse(base) in {"Enum", "StrEnum", "IntEnum"} for base in node.bases)


def _change(place: Place, target: ast.expr | ast.stmt, new: ast.AST) -> Change:
    piece = place.piece or target
    return Change(place, target, new, ast.unparse(piece), ast.unparse(copy.deepcopy(piece, {id(target): new})))


def _can_be_left_out(node: ast.stmt, place: Place, bound: set[str]) -> bool:
    """Whether a program still makes sense without a statement: without the first binding of a name it does not."""
    match node:
        case ast.Expr() | ast.AugAssign() | ast.Delete() | ast.Raise() | ast.Break() | ast.Continue():
            return True
        case ast.Return():
            return place.inner
        case ast.Assign() if place.called and place.names[-1] != "__init__":
            return all(not isinstance(to, ast.Name | ast.Tuple) or _names(to) <= bound for to in node.targets)
        case _:
            return False


def _is_left_alone(node: ast.expr) -> bool:
    """Whether it is text for people, an infinity or what only a checker of types reads."""
    match node:
        case ast.Constant():
            return is_text(node)
        case ast.JoinedStr() | ast.Subscript(value=ast.Name(id="Literal")):
            return True
        case ast.Call(func=ast.Name(id="float"), args=[ast.Constant()]):
            return True
        case _:
            return False


def _is_word(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def _names(target: ast.expr) -> set[str]:
    return {node.id for node in ast.walk(target) if isinstance(node, ast.Name)}


def _lines(node: ast.expr | ast.stmt) -> tuple[int, int]:
    return node.lineno, node.end_lineno or node.lineno
