"""Mutants of a Python module: the same module with one thing wrong in it, each under a name that stays.

Own code, because what is to be doubted here are tables at the top of a module as much as functions: mutmut changes the
bodies of undecorated functions alone; cosmic-ray leaves out no statement and no entry of a table, takes no member of an
enumeration for another, starts a test command for each mutant, and counts its mutants, so that every edit renames them.

Changed are comparisons (bounds and sense), and, or, not, conditions, arithmetic, numbers, words that are no sentence,
members of enumerations, entries of tables, arguments given by name, returned values; and statements are left out.
Never changed: text for people (docstrings, sentences, f-strings, the words of an enumeration), annotations, decorators.
"""

from __future__ import annotations

import ast
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from tests.campaigns.mutant_walk import LONGEST_TEXT, Change, Place, Walk, is_enumeration
from tests.campaigns.mutations import Members


@dataclass(frozen=True, slots=True)
class Mutant:
    """One changed module.

    Attributes:
        id: `module: place: before -> after`; it stays while the piece of source in it is not edited. ` (2)` and so on
            tell equal changes of one place apart, in the order of the source.
        path: of the module, from the root. source: of the changed module.
        group: module and outermost name: what tends to be found out by the same tests.
        lines: first and last line of the original statement; None where it runs when the module is imported.
    """

    id: str
    path: str
    source: str
    group: str
    lines: tuple[int, int] | None


def mutants(root: Path, path: str) -> list[Mutant]:
    """Make every mutant of the module at `path` under `root`, in the order of its source: the same list each time.

    Raises ValueError for a kind of statement that it cannot look into.
    """
    text = (root / path).read_text(encoding="utf-8")
    tree = ast.parse(text)
    module = Path(path).stem
    seen: Counter[str] = Counter()
    found = []
    for change in Walk(_members(root, tree), _by_name(tree)).block(tree.body, Place(), set()):
        names = change.place.names
        before, after = _cut(change.before, change.after)
        told = f"{module}: {'.'.join(names)}: {before} -> {after}"
        seen[told] += 1
        number = f" ({seen[told]})" if seen[told] > 1 else ""
        group = f"{module}: {names[0].partition('[')[0] if names else ''}"
        lines = change.place.lines if change.place.called else None
        found.append(Mutant(told + number, path, _changed_source(text, change), group, lines))
    return found


def _changed_source(text: str, change: Change) -> str:
    """The source with the target's own characters replaced; columns of a syntax tree count bytes."""
    target = change.target
    assert target.end_lineno is not None
    assert target.end_col_offset is not None
    lines = text.encode().splitlines(keepends=True)
    before = [*lines[: target.lineno - 1], lines[target.lineno - 1][: target.col_offset]]
    after = [lines[target.end_lineno - 1][target.end_col_offset :], *lines[target.end_lineno :]]
    new = ast.unparse(change.new)
    source = b"".join([*before, (f"({new})" if isinstance(change.new, ast.expr) else new).encode(), *after]).decode()
    ast.parse(source)
    return source


def _cut(before: str, after: str) -> tuple[str, str]:
    """Both texts, or what is around their first difference where they are long."""
    if len(before) <= LONGEST_TEXT:
        return before, after
    same = next((at for at, (old, new) in enumerate(zip(before, after, strict=False)) if old != new), 0)
    shown = slice(max(0, same - LONGEST_TEXT // 4), max(0, same - LONGEST_TEXT // 4) + LONGEST_TEXT)
    return before[shown], after[shown]


def _members(root: Path, tree: ast.Module) -> Members:
    """Every enumeration that the module can name: its own, imported ones, and other names for them."""
    found = _enumerations(tree)
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and node.module is not None:
            home = root / node.module.replace(".", "/")
            held = _enumerations_at(home.with_suffix(".py"))
            for name in node.names:
                known = name.asname or name.name
                found |= {known: held[name.name]} if name.name in held else {}
                inside = _enumerations_at(home / f"{name.name}.py")
                found |= {f"{known}.{enumeration}": members for enumeration, members in inside.items()}
        elif isinstance(node, ast.Assign):
            found |= {new: found[old] for new, old in _pairs(node) if old in found}
    return found


def _pairs(node: ast.Assign) -> list[tuple[str, str]]:
    """Names and what they are assigned, also in `a, b = c, d`."""
    target, value = node.targets[0], node.value
    if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        return [(ast.unparse(to), ast.unparse(of)) for to, of in zip(target.elts, value.elts, strict=True)]
    return [(ast.unparse(target), ast.unparse(value))]


def _enumerations_at(path: Path) -> dict[str, list[str]]:
    return _enumerations(ast.parse(path.read_text(encoding="utf-8"))) if path.is_file() else {}


def _enumerations(tree: ast.Module) -> dict[str, list[str]]:
    return {
        node.name: [ast.unparse(line.targets[0]) for line in node.body if isinstance(line, ast.Assign)]
        for node in tree.body
        if isinstance(node, ast.ClassDef) and is_enumeration(node)
    }


def _by_name(tree: ast.Module) -> set[str]:
    """Functions that can do without an argument given by name: `replace`, and the module's own that take any name."""
    own = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.args.kwarg is not None}
    return own | {"replace"}
