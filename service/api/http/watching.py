"""What is told of each request: a line of the log, a count, and what is left of the key's limit.

A line names the request id, method, route template, status, duration, key id and site: never a secret, a body, a query
or a raw path.
"""

import logging
import time
from typing import Final

from flask import Response, current_app, g, request

from service.api.http.problems import ProblemRaised
from service.store.queries.keys import Caller

LOG: Final = logging.getLogger("capsaddle.requests")
UNMATCHED: Final = "unmatched"


def count(caller: Caller) -> None:
    """Count a request against the limit of its key.

    Raises
    ------
    ProblemRaised
        429: the limit of this minute is used up.
    """
    services = current_app.extensions["capsaddle"]
    limit = services.settings.rate_limit
    if not limit:
        return
    g.allowance = found = services.shared.take(caller.key_id, limit)
    if not found.allowed:
        raise ProblemRaised(
            "rate_limited",
            f"the key may send {limit} requests a minute; go on in {found.resets_in_s} s",
            headers={"Retry-After": str(found.resets_in_s)},
        )


def limit_headers(response: Response) -> None:
    """Say what is left of the limit (RateLimit header fields for HTTP, IETF draft, structured-field lists)."""
    found = g.get("allowance")
    if found is not None:
        response.headers["RateLimit-Policy"] = f'"default";q={found.limit};w=60'
        response.headers["RateLimit"] = f'"default";r={found.left};t={found.resets_in_s}'


def tell(response: Response) -> None:
    """Write the line of the log and count the answer."""
    services = current_app.extensions["capsaddle"]
    logged = LOG.isEnabledFor(logging.INFO)
    if not logged and services.metrics is None:
        return
    taken_s = time.perf_counter() - g.get("began", time.perf_counter())
    rule = request.url_rule
    route = UNMATCHED if rule is None else rule.rule
    if services.metrics is not None:
        services.metrics.count_answer(
            route, request.method if rule is not None else "other", response.status_code, taken_s
        )
    if logged:
        caller: Caller | None = g.get("caller")
        LOG.info(
            {
                "event": "request",
                "request_id": g.get("request_id"),
                "method": request.method[:16],
                "route": route,
                "status": response.status_code,
                "duration_ms": round(1e3 * taken_s, 3),
                "key": None if caller is None else caller.key_id,
                "site": None if caller is None else caller.site_code,
            }
        )
