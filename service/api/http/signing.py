"""Who signs what is sent with a person's token: the person of the token, whatever stands in the document."""

from collections.abc import Iterable, Iterator
from typing import Any

from service.api.http.problems import ProblemRaised
from service.instructions.readings.persons import same_person


def sign(document: Any, places: Iterable[str], person: str) -> None:
    """Put the person's name at the places of a document that name who signs.

    Parameters
    ----------
    places : iterable of str
        Paths of members, such as ``readings/*/taken_by``; what has another shape is left to its schema.

    Raises
    ------
    ProblemRaised
        ``not_the_person``: another name stands there.
    """
    for place in places:
        *above, member = place.split("/")
        for path, holder in _holders(document, above, ""):
            named = holder.get(member)
            if isinstance(named, str) and not same_person(named, person):
                said = f"{path}{member}: the token is that of {person}, and so is what is sent with it; leave it out"
                fault = {"pointer": f"#/{path}{member}", "code": "not_the_person", "detail": said}
                raise ProblemRaised("not_the_person", said, faults=[fault])
            holder[member] = person


def _holders(node: Any, above: list[str], path: str) -> Iterator[tuple[str, dict[str, Any]]]:
    if not above:
        if isinstance(node, dict):
            yield path, node
    elif above[0] == "*":
        for number, each in enumerate(node if isinstance(node, list) else ()):
            yield from _holders(each, above[1:], f"{path}{number}/")
    elif isinstance(node, dict) and above[0] in node:
        yield from _holders(node[above[0]], above[1:], f"{path}{above[0]}/")
