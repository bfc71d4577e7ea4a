"""The pages of a card on a phone: a shell with style and script, known by their hashes, and what stands in it."""

from base64 import b64encode
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from markupsafe import Markup

from service import __version__
from service.render.markup import environment, style
from service.words import UnitSystem

_SCRIPTS: Final = ("lookup.js", "qr.js", "keep.js", "phone.js")
_FOLDER: Final = Path(__file__).parent / "templates"
MAIN: Final = "<!--main-->"


@cache
def script() -> str:
    """Return the script of every page, one scope of its own."""
    parts = "".join((_FOLDER / name).read_text(encoding="utf-8") for name in _SCRIPTS)
    return f"(() => {{\n{parts}}})();"


@cache
def version() -> str:
    """Return what changes with style, script, worker and templates: a kept card of another version is made anew."""
    parts = [path.read_bytes() for path in sorted(_FOLDER.iterdir()) if path.is_file()]
    return f"{__version__}-{sha256(b''.join(parts)).hexdigest()[:12]}"


@cache
def worker() -> str:
    """Return the service worker, with its version in it: another version is another file to the browser."""
    return (_FOLDER / "sw.js").read_text(encoding="utf-8").replace("__VERSION__", version())


@cache
def policy() -> str:
    """Return the Content-Security-Policy of the pages: their own style and script by hash, nothing from elsewhere."""
    hashed = {
        name: b64encode(sha256(text.encode()).digest()).decode()
        for name, text in (("style", style("phone.css")), ("script", script()))
    }
    return (
        f"default-src 'none'; style-src 'sha256-{hashed['style']}'; script-src 'sha256-{hashed['script']}'; "
        "connect-src 'self'; worker-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    )


def shell(*, title: str, machine: str, root: str, base: str, order_id: str, revision: int | None) -> str:
    """Return the page around every screen of an order, with a place for the screen.

    Parameters
    ----------
    root, base : str
        Path of the service and of the card; ``base`` empty where a link leads nowhere
    order_id : str
        By which the phone knows what waits for this order
    """
    return (
        environment("metric")
        .get_template("shell.html")
        .render(
            title=title,
            machine=machine,
            root=root,
            base=base,
            order_id=order_id,
            revision="" if revision is None else revision,
            style=style("phone.css"),
            script=Markup(script()),
        )
    )


def screen(name: str, units: UnitSystem, **shown: Any) -> str:
    """Return one screen, by the name of its template."""
    return environment(units).get_template(f"{name}.html").render(**shown)


def whole(around: str, inside: str) -> str:
    """Return a page: the shell with its screen."""
    return around.replace(MAIN, inside, 1)


def kept(around: str, screens: Mapping[str, str], *, revision: int, made: str) -> dict[str, Any]:
    """Return what the worker keeps of a card: the shell, every screen by its path, and the policy of both."""
    return {"revision": revision, "made": made, "policy": policy(), "shell": around, "pages": dict(screens)}
