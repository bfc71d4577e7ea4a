"""What was entered in an order: readings, ticks and approved deviations, in the order in which they were entered."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

DEVIATION: Final = "deviation"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A reading, a tick or an approved deviation. ``person`` took or approved it.

    Parameters
    ----------
    revision : int
        The revision it was judged by, [-]
    made_revision : int or None
        The revision that it made, [-]
    rows_nm : tuple of float or None, shape (rows,)
        The values of a clearance by row of rollers, [nm]
    value : float or None
        The one number of a reading that later ones are judged by, in the unit of its kind
    replaces : str or None
        The id of the reading that this one takes back
    """

    kind: str
    position: str | None
    step: str | None
    verdict: str
    code: str | None
    revision: int
    person: str
    made_revision: int | None = None
    id: str = ""
    taken_at: datetime | None = None
    rows_nm: tuple[float, ...] | None = None
    value: float | None = None
    replaces: str | None = None
