"""The window of residual clearance, from a measured initial clearance or provisional over its range (rule C4)."""

from collections.abc import Sequence
from dataclasses import dataclass

from service.findings import Source
from service.reference.clearance_classes import ClearanceRange

Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Floor:
    """Smallest residual clearance, [nm]: of the class, or what the operating clearance needs when that is larger."""

    value_nm: int
    source: Source


@dataclass(frozen=True, slots=True)
class Window:
    """Residual clearance to leave, limits inside, [nm]; empty when ``min_nm`` lies above ``max_nm``.

    Parameters
    ----------
    min_nm, max_nm : float
        The limits, [nm]
    aim_nm, reduction_aim_nm : float or None
        Residual and reduction aimed at, [nm]; None when provisional or empty
    floor : Floor
        Smallest residual that may ever be left, with its source
    provisional : bool
        No initial clearance was measured: outer limits, nothing is judged on them
    """

    min_nm: float
    max_nm: float
    aim_nm: float | None
    reduction_aim_nm: float | None
    floor: Floor
    provisional: bool

    @property
    def floor_nm(self) -> int:
        """Return the smallest residual that may ever be left, [nm]."""
        return self.floor.value_nm

    @property
    def floor_source(self) -> Source:
        """Return where the floor comes from."""
        return self.floor.source

    @property
    def empty(self) -> bool:
        """Return whether nothing lies inside."""
        return self.min_nm > self.max_nm


def place_in_range(measured_nm: float, limits: ClearanceRange) -> float:
    """Return where a reading lies in its range, 0 at the smallest to 1 at the largest, held within, [-].

    Parameters
    ----------
    measured_nm : float
        Initial clearance, [nm]
    limits : ClearanceRange
        The ISO row, [nm]; a reading inside the printed inch row alone is held at its edge
    """
    return min(1.0, max(0.0, (measured_nm - limits.min_nm) / (limits.max_nm - limits.min_nm)))


def measured_window(
    row_values_nm: Sequence[float], *, limits: ClearanceRange, reduction_nm: Range, floor: Floor
) -> Window:
    """Return the window for a measured bearing.

    Parameters
    ----------
    row_values_nm : sequence of float, shape (rows,)
        Initial clearance of each row of rollers, [nm]
    limits : ClearanceRange
        The ISO row, [nm]
    reduction_nm : tuple of int
        Smallest and largest reduction, [nm]
    floor : Floor
        Smallest residual

    Source
    ------
    Rule C4: [max(m - red_max, floor), m - red_min]; the lower limit from the larger row, the upper from the smaller.
    The lower half of the range takes the low end of the reduction, the upper half the high end (common practice, no
    source); between them in proportion. The aim is held inside the window.
    """
    smallest_nm, largest_nm = min(row_values_nm), max(row_values_nm)
    least_nm, most_nm = reduction_nm
    min_nm, max_nm = max(largest_nm - most_nm, floor.value_nm), smallest_nm - least_nm
    if min_nm > max_nm:
        return Window(min_nm, max_nm, None, None, floor, provisional=False)
    mean_nm = mean(row_values_nm)
    wanted_nm = mean_nm - least_nm - place_in_range(mean_nm, limits) * (most_nm - least_nm)
    aim_nm = min(max(wanted_nm, min_nm), max_nm)
    return Window(min_nm, max_nm, aim_nm, mean_nm - aim_nm, floor, provisional=False)


def mean(row_values_nm: Sequence[float]) -> float:
    """Return the mean of the rows, [nm]; a single row stays as it is."""
    return row_values_nm[0] if len(row_values_nm) == 1 else sum(row_values_nm) / len(row_values_nm)


def provisional_window(*, limits: ClearanceRange, reduction_nm: Range, floor: Floor) -> Window:
    """Return the outer limits over the whole range, for a bearing not yet measured.

    Parameters
    ----------
    limits : ClearanceRange
        The ISO row, [nm]
    reduction_nm : tuple of int
        Smallest and largest reduction, [nm]
    floor : Floor
        Smallest residual
    """
    min_nm = max(limits.min_nm - reduction_nm[1], floor.value_nm)
    return Window(min_nm, limits.max_nm - reduction_nm[0], None, None, floor, provisional=True)
