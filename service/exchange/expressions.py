"""JMESPath with limits: expressions come from an administrator, messages from anywhere; both count as hostile.

JMESPath cannot loop for ever, but it can fan out: every value is measured when it appears, every step is counted, and
the processor time of one mapping is bounded.
"""

import math
import time
from collections.abc import Iterator
from typing import Any, Final

from jmespath import exceptions, parser, visitor

from service.exchange.functions import MapFunctions, MappingFault

MOST_EXPRESSION_BYTES: Final = 4096
MOST_SYNTAX_DEPTH: Final = 60
MOST_VALUE_SIZE: Final = 262_144
"""Characters and members of any value on the way, nested ones included, [-]"""
MOST_DEPTH: Final = 16
"""Nesting of what an expression makes, [-]"""
MOST_STEPS: Final = 100_000
LONGEST_S: Final = 0.2
"""Processor time of one mapping, all its expressions together, [s]"""
_TIME_EVERY: Final = 64
_LARGE: Final = 1000
_EVALUATION_ERRORS: Final = (
    exceptions.JMESPathError,
    ArithmeticError,
    AttributeError,
    IndexError,
    KeyError,
    NotImplementedError,
    RecursionError,
    TypeError,
    ValueError,
)


class BadExpression(ValueError):
    """The expression cannot be read, or is larger than what is taken."""


class Expression:
    """An expression, compiled once."""

    def __init__(self, text: str) -> None:
        """Compile.

        Raises
        ------
        BadExpression
            Not JMESPath, an unknown function, too long, nested too deep.
        """
        if len(text.encode("utf-8", "surrogatepass")) > MOST_EXPRESSION_BYTES:
            raise BadExpression(f"an expression is at most {MOST_EXPRESSION_BYTES} bytes long")
        try:
            tree = parser.Parser().parse(text).parsed
        except RecursionError:
            raise BadExpression("the expression is nested too deep") from None
        except exceptions.EmptyExpressionError:
            raise BadExpression("the expression is empty") from None
        except (exceptions.JMESPathError, ValueError) as error:
            raise BadExpression(_first_line(error)) from None
        _check(tree)
        self.text = text
        self.tree = tree


def _first_line(error: Exception) -> str:
    return ascii(str(error).split("\n")[0][:200])[1:-1]


def _check(tree: dict[str, Any]) -> None:
    """Refuse a syntax tree that is too deep, and names of functions that nobody knows."""
    level, depth = [tree], 0
    while level:
        depth += 1
        if depth > MOST_SYNTAX_DEPTH:
            raise BadExpression(f"the expression is nested deeper than {MOST_SYNTAX_DEPTH} levels")
        for node in level:
            if node["type"] == "function_expression" and node["value"] not in MapFunctions.FUNCTION_TABLE:
                raise BadExpression(f"there is no function {node['value'][:40]!a}")
        level = [child for node in level for child in _children(node)]


def _children(node: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for child in node.get("children", ()):
        if isinstance(child, dict):
            yield child


class Meter:
    """What one mapping may take: steps, time, and the size of any value."""

    def __init__(self) -> None:
        self._steps = 0
        self._until_s = time.thread_time() + LONGEST_S
        self._sizes: dict[int, tuple[Any, int]] = {}

    def step(self) -> None:
        """Count one step.

        Raises
        ------
        MappingFault
            ``too_much_work``
        """
        self._steps += 1
        if self._steps > MOST_STEPS:
            raise MappingFault("too_much_work", f"the map takes more than {MOST_STEPS} steps for this message")
        if self._steps % _TIME_EVERY == 0:
            self._look_at_the_clock()

    def hold(self, value: Any) -> int:
        """Return the size of a value, nested ones included.

        Raises
        ------
        MappingFault
            ``value_too_large``
        """
        size = self._size(value)
        if size > MOST_VALUE_SIZE:
            raise MappingFault("value_too_large", f"a value grows beyond {MOST_VALUE_SIZE} characters and members")
        if size > _LARGE:
            self._look_at_the_clock()
        return size

    def _look_at_the_clock(self) -> None:
        if time.thread_time() > self._until_s:
            raise MappingFault("too_much_work", f"the map takes longer than {LONGEST_S} s for this message")

    def _size(self, value: Any) -> int:
        if isinstance(value, str):
            return 1 + len(value)
        if not isinstance(value, dict | list):
            return 1
        known = self._sizes.get(id(value))
        if known is not None:
            return known[1]
        if isinstance(value, dict):
            size = 1 + sum(1 + len(name) + self._size(below) for name, below in value.items())
        else:
            size = 1 + sum(self._size(below) for below in value)
        self._sizes[id(value)] = (value, size)  # held, so that its id stays its own
        return size


class Reads:
    """Which members of the message were looked at."""

    def __init__(self) -> None:
        self._read: set[tuple[int, str]] = set()

    def note(self, container: dict[str, Any], names: Iterator[str] | tuple[str, ...]) -> None:
        """Note that members of an object were read."""
        self._read.update((id(container), name) for name in names)

    def unread(self, message: Any) -> list[str]:
        """Return the members that nothing read, as JSON Pointers with ``*`` for the elements of arrays."""
        read: set[str] = set()
        unread: dict[str, None] = {}
        self._walk(message, "", read, unread)
        return [pointer for pointer in unread if pointer not in read]

    def _walk(self, value: Any, path: str, read: set[str], unread: dict[str, None]) -> None:
        if isinstance(value, list):
            for below in value:
                self._walk(below, f"{path}/*", read, unread)
            return
        if not isinstance(value, dict):
            return
        taken_whole = path != "" and not any((id(value), name) in self._read for name in value)
        for name, below in value.items():
            pointer = f"{path}/{name.replace('~', '~0').replace('/', '~1')}"
            if taken_whole:
                continue
            if (id(value), name) in self._read:
                read.add(pointer)
                self._walk(below, pointer, read, unread)
            else:
                unread[pointer] = None


class _Interpreter(visitor.TreeInterpreter):  # type: ignore[misc]
    """JMESPath's own interpreter, measured."""

    def __init__(self, meter: Meter, reads: Reads, tables: dict[str, dict[str, Any]]) -> None:
        super().__init__(visitor.Options(custom_functions=MapFunctions(tables, meter.hold)))
        self._meter, self._reads = meter, reads

    def visit(self, node: dict[str, Any], *args: Any, **kwargs: Any) -> Any:
        """Return the value of a node, counted and measured."""
        self._meter.step()
        value = super().visit(node, *args, **kwargs)
        if isinstance(value, dict | list | str):
            self._meter.hold(value)
        return value

    def visit_field(self, node: dict[str, Any], value: Any) -> Any:
        """Return a member of an object, null of anything else."""
        if not isinstance(value, dict):
            return None
        self._reads.note(value, (node["value"],))
        return value.get(node["value"])

    def visit_value_projection(self, node: dict[str, Any], value: Any) -> Any:
        """Return the projection of all members of an object."""
        base = self.visit(node["children"][0], value)
        if not isinstance(base, dict):
            return None
        self._reads.note(base, tuple(base))
        found = (self.visit(node["children"][1], element) for element in base.values())
        return [each for each in found if each is not None]


class Evaluation:
    """One message and what its expressions may take together."""

    def __init__(self, message: Any, tables: dict[str, dict[str, Any]]) -> None:
        self._message = message
        self.reads = Reads()
        self._meter = Meter()
        self._made = 0
        self._interpreter = _Interpreter(self._meter, self.reads, tables)

    def value_of(self, expression: Expression) -> Any:
        """Return what the expression makes of the message.

        Raises
        ------
        MappingFault
            It cannot be evaluated, takes too much, or makes something that is not JSON.
        """
        try:
            value = self._interpreter.visit(expression.tree, self._message)
            _check_json(value)
            self._made += self._meter.hold(value)
        except MappingFault:
            raise
        except _EVALUATION_ERRORS as error:
            raise MappingFault("expression_failed", _first_line(error)) from None
        if self._made > MOST_VALUE_SIZE:
            raise MappingFault("too_much_work", f"the result grows beyond {MOST_VALUE_SIZE} characters and members")
        return value


def _check_json(value: Any, depth: int = 0) -> None:
    """Refuse what is not JSON as we take it: an unfinished expression, a number that is not finite, deep nesting."""
    if isinstance(value, dict | list):
        if depth >= MOST_DEPTH:
            raise MappingFault("nested_too_deep", f"the expression makes something nested deeper than {MOST_DEPTH}")
        for below in value.values() if isinstance(value, dict) else value:
            _check_json(below, depth + 1)
    elif isinstance(value, float):
        if not math.isfinite(value):
            raise MappingFault("not_finite", "a number is not finite")
    elif value is not None and not isinstance(value, str | bool | int):
        raise MappingFault("expression_failed", "the expression makes something that is not JSON")
