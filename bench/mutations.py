"""Every small fault that can be put into a source file, one at a time; see :mod:`bench.mutants`.

Docstrings, annotations, decorators, words and the texts of errors are left alone; so are figures with
no published source (``constants.py``).
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

# A figure chosen here, or remembered, has no outside value that a test could hold it to.
UNPUBLISHED = ("planning-default", "from-memory", "common-practice", "fleet-calibration")
BINARY: dict[type[ast.operator], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.FloorDiv: ("//", "*"),
    ast.Pow: ("**", "*"),
    ast.BitAnd: ("&", "|"),
    ast.BitOr: ("|", "&"),
}
# The limit moved to the other side of equal, and the opposite.
COMPARED: dict[type[ast.cmpop], tuple[str, tuple[str, ...]]] = {
    ast.Lt: ("<", ("<=", ">=")),
    ast.LtE: ("<=", ("<", ">")),
    ast.Gt: (">", (">=", "<=")),
    ast.GtE: (">=", (">", "<")),
    ast.Eq: ("==", ("!=",)),
    ast.NotEq: ("!=", ("==",)),
    ast.Is: ("is", ("is not",)),
    ast.IsNot: ("is not", ("is",)),
    ast.In: ("in", ("not in",)),
    ast.NotIn: ("not in", ("in",)),
}
_PAIRS = (
    ("min", "max"),
    ("any", "all"),
    ("minimum", "maximum"),
    ("fmin", "fmax"),
    ("nanmin", "nanmax"),
    ("argmin", "argmax"),
    ("floor", "ceil"),
    ("sin", "cos"),
    ("radians", "degrees"),
    ("zeros", "ones"),
    ("zeros_like", "ones_like"),
    ("sum", "max"),
    ("exp", "expm1"),
    ("log", "log1p"),
    ("isnan", "isfinite"),
)
CALLED = dict(_PAIRS) | {b: a for a, b in _PAIRS if a != "sum"}


@dataclass(frozen=True)
class Mutant:
    """One change: bytes ``start`` to ``end`` of a file of geometry become ``new``."""

    file: str
    start: int
    end: int
    new: bytes

    def applied(self, source: bytes) -> bytes:
        return source[: self.start] + self.new + source[self.end :]

    def line(self, source: bytes) -> int:
        return source.count(b"\n", 0, self.start) + 1

    def shown(self, source: bytes) -> str:
        """The changed line as it becomes."""
        row = self.line(source) - 1
        return self.applied(source).splitlines()[row].decode().strip()


class Changes(ast.NodeVisitor):
    """Collects every change of one file."""

    def __init__(self, file: str, source: bytes) -> None:
        self.file, self.source = file, source
        self.found: list[Mutant] = []
        self._starts = [0]
        for line in source.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))

    def _from(self, node: ast.expr) -> int:
        return self._starts[node.lineno - 1] + node.col_offset

    def _to(self, node: ast.expr) -> int:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self._starts[node.end_lineno - 1] + node.end_col_offset

    def _text(self, node: ast.expr) -> str:
        return self.source[self._from(node) : self._to(node)].decode()

    def _put(self, start: int, end: int, new: str) -> None:
        self.found.append(Mutant(self.file, start, end, new.encode()))

    def _replace(self, node: ast.expr, new: str) -> None:
        self._put(self._from(node), self._to(node), new)

    def _between(self, left: ast.expr, right: ast.expr, old: str, new: str) -> None:
        """Change the operator between two operands; only brackets and space lie there besides."""
        start = self._to(left)
        at = self.source.find(old.encode(), start, self._from(right))
        if at >= 0:
            self._put(at, at + len(old), new)

    def _negate(self, test: ast.expr) -> None:
        self._replace(test, f"not ({self._text(test)})")

    # What is left alone

    def visit_Raise(self, node: ast.Raise) -> None:
        """The words of an error are no formula."""

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """Nor are any others."""

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for statement in node.body:
            self.visit(statement)

    # What is changed

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        arguments = [*node.args.posonlyargs, *node.args.args]
        ordinary = zip(
            arguments[len(arguments) - len(node.args.defaults) :], node.args.defaults, strict=True
        )
        by_name = zip(node.args.kwonlyargs, node.args.kw_defaults, strict=True)
        for argument, default in [*ordinary, *by_name]:
            if default is not None:
                assert argument.end_lineno is not None
                assert argument.end_col_offset is not None
                end = self._starts[argument.end_lineno - 1] + argument.end_col_offset
                self._put(end, self._to(default), "")
                self.visit(default)
        for statement in node.body:
            self.visit(statement)

    def visit_Constant(self, node: ast.Constant) -> None:
        value = node.value
        if isinstance(value, bool):
            self._replace(node, str(not value))
        elif isinstance(value, int):
            self._replace(node, str(value + 1))
            if value:
                self._replace(node, str(value - 1))
        elif isinstance(value, float):
            self._replace(node, repr(value * 1.01 if value else 0.01))

    def visit_BinOp(self, node: ast.BinOp) -> None:
        words = any(isinstance(side, ast.JoinedStr) for side in (node.left, node.right))
        if type(node.op) in BINARY and not words:
            old, new = BINARY[type(node.op)]
            self._between(node.left, node.right, old, new)
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        if type(node.op) in BINARY:
            old, new = BINARY[type(node.op)]
            self._between(node.target, node.value, f"{old}=", f"{new}=")
        self.visit(node.value)

    def visit_Compare(self, node: ast.Compare) -> None:
        operands = [node.left, *node.comparators]
        for left, sign, right in zip(operands, node.ops, operands[1:], strict=False):
            old, others = COMPARED[type(sign)]
            for new in others:
                self._between(left, right, old, new)
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        old, new = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
        for left, right in zip(node.values, node.values[1:], strict=False):
            self._between(left, right, old, new)
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        self._replace(node, self._text(node.operand))
        self.visit(node.operand)

    def visit_If(self, node: ast.If) -> None:
        if not isinstance(node.test, ast.UnaryOp):  # its "not" is dropped anyhow
            self._negate(node.test)
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self._negate(node.test)
        self.generic_visit(node)

    def visit_comprehension(self, node: ast.comprehension) -> None:
        for test in node.ifs:
            self._negate(test)
        self.generic_visit(node)

    def visit_Return(self, node: ast.Return) -> None:
        if isinstance(node.value, (ast.Compare, ast.BoolOp)):
            self._negate(node.value)
        elif isinstance(node.value, ast.BinOp):
            self._replace(node.value, f"-({self._text(node.value)})")
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        name = getattr(node.func, "attr", getattr(node.func, "id", ""))
        if name in CALLED:
            self._put(self._to(node.func) - len(name), self._to(node.func), CALLED[name])
        if name == "where" and len(node.args) == 3:
            _, yes, no = node.args
            self._put(self._from(yes), self._to(no), f"{self._text(no)}, {self._text(yes)}")
        for keyword in node.keywords:
            if isinstance(keyword.value, (ast.Constant, ast.UnaryOp)):
                start = self._starts[keyword.lineno - 1] + keyword.col_offset
                self._put(start, self._to(keyword.value), "")
        self.generic_visit(node)


def _figure_of_our_own(mutant: Mutant, source: bytes) -> bool:
    line = source.splitlines()[mutant.line(source) - 1].decode()
    key = re.search(r"# \[([a-z0-9-]+)\]$", line)
    return key is not None and key[1] in UNPUBLISHED


def mutants_of(file: Path) -> Iterator[Mutant]:
    """Every change of a file that still compiles."""
    source = file.read_bytes()
    changes = Changes(file.name, source)
    changes.visit(ast.parse(source))
    for mutant in changes.found:
        try:
            compile(mutant.applied(source), file.name, "exec")
        except SyntaxError:
            continue
        if not _figure_of_our_own(mutant, source):
            yield mutant
