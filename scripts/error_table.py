"""The table of every sentence that a mistake or a bad file can end in, read from the code.

    python scripts/error_table.py            prints the table
    python scripts/error_table.py --write    writes it to tests/errors/table.md

Every place that makes an error of the family of harpkeys/errors.py is found in the source, with the words
it puts together; tests/errors/ reaches each of them and says what led there. Names in braces stand for what
differs from case to case. tests/errors/test_error_table.py sees that the table is that of the code.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "harpkeys"
TESTS = ROOT / "tests" / "errors"
TABLE = TESTS / "table.md"

sys.path[:0] = [str(ROOT), str(TESTS)]

from harpkeys import errors  # noqa: E402

FAMILY = {
    name
    for name, found in vars(errors).items()
    if inspect.isclass(found) and issubclass(found, errors.HarpkeysError)
}


@dataclass(frozen=True, slots=True)
class Site:
    """A place in the code that makes an error.

    Attributes:
        module: dotted name below the package, "score.container".
        first: its first line.
        last: its last line.
        kind: the class of the error.
        words: the sentence, names in braces for what differs; without the places put in front of it.
    """

    module: str
    first: int
    last: int
    kind: str
    words: str


def sites() -> tuple[Site, ...]:
    """Every place that makes an error, by module and line."""
    found: list[Site] = []
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.name in ("errors.py", "__main__.py"):
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and called(node) in FAMILY]
        if not calls:
            continue
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        scope = vars(importlib.import_module(f"harpkeys.{name}"))
        for node in sorted(calls, key=lambda call: call.lineno):
            last = node.end_lineno or node.lineno
            found.append(Site(name, node.lineno, last, called(node), sentence(node, scope)))
    return tuple(found)


def called(node: ast.Call) -> str:
    """The plain name of what is called, "" where it has none."""
    return node.func.id if isinstance(node.func, ast.Name) else ""


def sentence(node: ast.Call, scope: Mapping[str, Any]) -> str:
    """The words of an error as its class puts them together."""
    words = list(pieces(node, scope))
    return str(errors.HarpkeysError(*words))


def pieces(node: ast.Call, scope: Mapping[str, Any]) -> Iterator[str]:
    """What is wrong and what to do, each with names in braces for what differs."""
    for argument in node.args:
        if isinstance(argument, ast.Starred):
            yield from evaluated(argument.value, scope)
        else:
            yield template(argument, scope)


def template(node: ast.expr, scope: Mapping[str, Any]) -> str:
    """The text of an expression, evaluated where the module alone decides it."""
    if isinstance(node, ast.JoinedStr):
        return "".join(template(value, scope) for value in node.values)
    if isinstance(node, ast.FormattedValue):
        text = template(node.value, scope)
        return repr(text) if node.conversion == ord("r") else text
    try:
        return str(evaluated(node, scope))
    except Exception:  # what the function's own names decide
        return "{" + subject(node) + "}"


def evaluated(node: ast.expr, scope: Mapping[str, Any]) -> Any:
    """The value of an expression that needs nothing but its module."""
    return eval(compile(ast.Expression(node), "<error>", "eval"), dict(scope))


def subject(node: ast.expr) -> str:
    """What an expression is about: the last name in it that is not called."""
    functions = {id(call.func) for call in ast.walk(node) if isinstance(call, ast.Call)}
    names = [
        each.id if isinstance(each, ast.Name) else each.attr
        for each in ast.walk(node)
        if isinstance(each, (ast.Name, ast.Attribute)) and id(each) not in functions
    ]
    return names[0].lower() if names else "…"


def at(found: Sequence[Site], module: str, line: int) -> Site | None:
    """The narrowest place of a module that holds a line."""
    holding = [site for site in found if site.module == module and site.first <= line <= site.last]
    return min(holding, key=lambda site: site.last - site.first, default=None)


def table(triggers: Mapping[Site, Sequence[str]]) -> str:
    """The table as Markdown.

    Args:
        triggers: what leads to each place, in words.
    """
    lines = [
        "# Every error sentence",
        "",
        "Written by `scripts/error_table.py` and held to the code by `tests/errors/test_error_table.py`,",
        "which reaches every sentence and compares it whole. Names in braces differ from case to case. In",
        "front of a sentence stands where it happened: file, part, bar, line. All end with exit code 2.",
    ]
    module = ""
    for site in sorted(triggers, key=lambda site: (site.module, site.first)):
        if site.module != module:
            module = site.module
            lines += ["", f"## {module}", "", "| sentence | kind | what triggers it |", "|---|---|---|"]
        when = "; ".join(dict.fromkeys(triggers[site]))
        lines.append(f"| {cell(site.words)} | {site.kind} | {cell(when)} |")
    return "\n".join(lines) + "\n"


def cell(text: str) -> str:
    """Text in a cell of a Markdown table."""
    return text.replace("\\", "\\\\").replace("|", "\\|").replace("<", "&lt;").replace("*", "\\*")


def main() -> int:
    """Print or write the table.

    Returns:
        The exit code.
    """
    from reaching import reached_in_a_folder_of_its_own  # type: ignore[import-not-found]

    text = table(reached_in_a_folder_of_its_own()[0])
    if "--write" in sys.argv[1:]:
        TABLE.write_text(text, encoding="utf-8")
    else:
        print(text, end="")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
