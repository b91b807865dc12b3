"""The project's own Python files, and what is counted in them."""

import ast
import io
import tokenize
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
FLOORS = ("server", "alerts", "monitoring", "farms")


@dataclass(frozen=True)
class Function:
    """A function or method: where, its code lines (signature and body, without docstring), its parameters."""

    where: str
    lines: int
    parameters: int


def modules(*, tests: bool = False) -> Iterator[Path]:
    """Every Python file of the four floors (and of the tests); migrations are written by a program."""
    for folder in (*FLOORS, "tests") if tests else FLOORS:
        for path in sorted((ROOT / folder).rglob("*.py")):
            if "migrations" not in path.relative_to(ROOT).parts:
                yield path


def relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def functions(path: Path) -> list[Function]:
    text = path.read_text()
    tree, code = ast.parse(text), code_lines(text)
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            own = set(range(node.lineno, (node.end_lineno or 0) + 1)) - _docstring_lines(node)
            lines = len(own & code)
            found.append(Function(f"{relative(path)}:{node.lineno} {node.name}", lines, _parameters(node.args)))
    return found


def code_lines(text: str) -> set[int]:
    """The numbers of lines that hold code: not blank, not comment alone."""
    nothing = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER}
    numbers: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type not in nothing:
            numbers.update(range(token.start[0], token.end[0] + 1))
    return numbers


def _docstring_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> set[int]:
    if ast.get_docstring(node) is None:
        return set()
    return set(range(node.body[0].lineno, (node.body[0].end_lineno or 0) + 1))


def _parameters(arguments: ast.arguments) -> int:
    """By position or by name; `self` and `cls` are not counted, `*args` and `**kwargs` as one each."""
    plain = [*arguments.posonlyargs, *arguments.args]
    if plain and plain[0].arg in ("self", "cls"):
        plain = plain[1:]
    return len(plain) + len(arguments.kwonlyargs) + bool(arguments.vararg) + bool(arguments.kwarg)
