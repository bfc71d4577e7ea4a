"""What the source can say, found in its syntax trees and not in a list: codes of findings, rules, limits.

A code that cannot be resolved to strings is refused with its place, so that none is overlooked.
"""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

SERVICE = Path(__file__).parents[2] / "service"
DOMAIN = ("mounting", "arrangement", "bolting", "instructions", "reference")
CITED_IN_PROSE = re.compile(r"\brules? ([A-Z]\d{1,2})\b").findall
"""Rule ids as docstrings and comments cite them."""
ANY = "{}"
"""Stands in a field where the source puts a value."""

Scopes = tuple[ast.AST, ...]


@cache
def tree_of(path: Path) -> ast.Module:
    """Return the syntax tree of a module."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def trees() -> dict[Path, ast.Module]:
    """Return the syntax tree of every module."""
    return {path: tree_of(path) for path in sorted(SERVICE.rglob("*.py"))}


def domain() -> Iterator[tuple[Path, ast.Module]]:
    """Yield the modules that make plans, and the units they compute with."""
    for package in DOMAIN:
        for path in sorted((SERVICE / package).rglob("*.py")):
            yield path, tree_of(path)
    yield SERVICE / "units.py", tree_of(SERVICE / "units.py")


def blocked() -> set[str]:
    """Return every code that ``Blocked`` is made with."""
    return _first_arguments("Blocked")


def missing() -> set[str]:
    """Return every field that ``Missing`` is made with; ``{}`` where a value goes, supports without their number."""
    return {field.removeprefix(f"supports/{ANY}/").removeprefix(f"{ANY}/") for field in _first_arguments("Missing")}


def warned() -> set[str]:
    """Return every code that ``Warned`` is made with, but for those computed from a verdict or a state."""
    return _first_arguments("Warned", computed_too=False)


def decided_by() -> set[str]:
    """Return every rule that a decision about a role may name: the strings of the arrangement that look like one."""
    return {
        node.value
        for path, tree in domain()
        if path.relative_to(SERVICE).parts[0] == "arrangement"
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and re.fullmatch(r"[A-Z]\d{1,2}", node.value)
    }


def cited_rules() -> set[str]:
    """Return every rule that the source cites in prose."""
    return {rule for path in trees() for rule in CITED_IN_PROSE(path.read_text(encoding="utf-8"))}


def limits() -> dict[str, str]:
    """Return the constants of the domain that hold a number, as written, by package, module and name."""
    found: dict[str, str] = {}
    for path, tree in domain():
        package = path.relative_to(SERVICE).parts[0].removesuffix(".py")
        for name, value in constants(tree):
            found[f"{package}.{path.stem}.{name}"] = ast.unparse(value)
    return found


def constants(tree: ast.Module) -> Iterator[tuple[str, ast.expr]]:
    """Yield the constants of a module that hold a number: name and value."""
    for name, value in _assigned_in_module(tree):
        if _holds_number(value):
            yield name, value


def _assigned_in_module(tree: ast.Module) -> Iterator[tuple[str, ast.expr]]:
    for node in tree.body:
        targets = (
            node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
        )
        for target in targets:
            if isinstance(target, ast.Name) and target.id.isupper() and node.value is not None:  # type: ignore[union-attr]
                yield target.id, node.value  # type: ignore[union-attr]


def _holds_number(value: ast.expr) -> bool:
    return any(
        (isinstance(node, ast.Constant) and type(node.value) in (int, float))
        or (isinstance(node, ast.Call) and _name(node) == "Fraction")
        for node in ast.walk(value)
    )


def _first_arguments(of: str, *, computed_too: bool = True) -> set[str]:
    found: set[str] = set()
    for path, tree in trees().items():
        for call, scopes in _calls(tree) if path.name != "catalogue.py" else ():
            named = _named_in(call, of)
            if named is not None:
                try:
                    found |= _strings(named, scopes, path)
                except LookupError:
                    if computed_too:
                        raise
    return found


def _named_in(call: ast.Call, of: str) -> ast.expr | None:
    """Return the code or field of a finding that is made by its class or said by a catalogue; None for other calls."""
    if not call.args:
        return None
    if _name(call) == of:
        return call.args[0]
    said = call.func
    if isinstance(said, ast.Attribute) and said.attr == of.lower() and ast.unparse(said.value) in ("SAYS", "_SAYS"):
        return call.args[1] if of == "Missing" and len(call.args) > 1 else call.args[0]
    return None


def _name(call: ast.Call) -> str:
    return call.func.id if isinstance(call.func, ast.Name) else ""


def _calls(tree: ast.Module) -> Iterator[tuple[ast.Call, Scopes]]:
    """Yield every call with the module and the functions around it, the innermost last."""

    def walk(node: ast.AST, scopes: Scopes) -> Iterator[tuple[ast.Call, Scopes]]:
        if isinstance(node, ast.FunctionDef):
            scopes = (*scopes, node)
        if isinstance(node, ast.Call):
            yield node, scopes
        for child in ast.iter_child_nodes(node):
            yield from walk(child, scopes)

    yield from walk(tree, (tree,))


def _strings(node: ast.expr, scopes: Scopes, path: Path) -> set[str]:
    """Return every string that an expression can be; ``{}`` for a part that is put in.

    Raises
    ------
    LookupError
        The expression is none that can be followed.
    """
    if isinstance(node, ast.Constant):
        return {node.value} if isinstance(node.value, str) else set()
    if isinstance(node, ast.IfExp):
        return _strings(node.body, scopes, path) | _strings(node.orelse, scopes, path)
    if isinstance(node, ast.JoinedStr):
        return {"".join(str(part.value) if isinstance(part, ast.Constant) else ANY for part in node.values)}
    if isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant) and isinstance(node.value, ast.Name):
        tuples = [value for value in _assigned(node.value.id, scopes) if isinstance(value, ast.Tuple)]
        return {each for value in tuples for each in _strings(value.elts[node.slice.value], scopes, path)}
    if isinstance(node, ast.Name):
        values = _assigned(node.id, scopes)
        if values:
            return {each for value in values for each in _strings(value, scopes, path)}
    if isinstance(node, ast.Attribute):
        return _field_strings(node.attr, path.parent)
    raise LookupError(f"{path.name}:{node.lineno}: {ast.unparse(node)} cannot be followed to its strings")


def _assigned(name: str, scopes: Scopes) -> list[ast.expr]:
    """Return what is assigned to a name in the innermost scope that assigns it."""
    for scope in reversed(scopes):
        found = [
            node.value
            for node in ast.walk(scope)
            if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None
            for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
            if isinstance(target, ast.Name) and target.id == name
        ]
        if found:
            return found
    return []


def _field_strings(member: str, package: Path) -> set[str]:
    """Return every string that a member of a dataclass of a package is made with."""
    modules = {path: tree for path, tree in trees().items() if path.parent == package}
    places = {
        (node.name, number)
        for tree in modules.values()
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
        for number, field in enumerate(each for each in node.body if isinstance(each, ast.AnnAssign))
        if isinstance(field.target, ast.Name) and field.target.id == member
    }
    if len(places) != 1:
        raise LookupError(f"{len(places)} classes have a member {member}")
    ((owner, number),) = places
    found: set[str] = set()
    for path, tree in modules.items():
        for call, scopes in _calls(tree):
            if _name(call) == owner:
                given = [keyword.value for keyword in call.keywords if keyword.arg == member] or call.args[
                    number : number + 1
                ]
                found |= {each for value in given for each in _strings(value, scopes, path)}
    return found
