"""Base bolts: ordinary joints, whose torque may be computed where no book gives one; and the soft foot.

The housing maker's book comes first here too. Unlike a cap, the base is clamped metal to metal and the bolts may be
tightened to a share of their proof load; the bolt's seat in the foot of the housing may still ask for less.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.bolting.book import Bolt
from service.bolting.lubrication import Lubrication, lubrication_of
from service.bolting.messages import SAYS
from service.bolting.tightening import preload_from_torque, torque_from_preload
from service.findings import Missing, Source
from service.reference.bolts import bolt_grade, thread
from service.reference.tables import provenance

PROOF_SHARE: Final = 0.75
"""Preload of a joint that is opened again, as a share of proof load: textbooks (Shigley, ch. 8), [-]."""
SOFT_FOOT_NM: Final = 50_000
"""Rise of a foot when its bolts are loosened, up to which it stands sound: common practice, no source, [nm]."""

COMPUTED: Final = Source("base-bolt-preload", "0.75 of proof load for joints opened again, textbooks", "calculation")


@dataclass(frozen=True, slots=True)
class BaseBoltTorque:
    """Computed torque of the base bolts [N m], preload [N], share of proof load over the nut factor band [-]."""

    bolt: Bolt
    torque_n_m: float | None
    preload_n: float | None
    share_band: tuple[float, float] | None
    missing: tuple[Missing, ...]
    sources: tuple[Source, ...]

    def record(self) -> dict[str, Any]:
        """Return the answer, quantities unit-neutral."""
        band = self.share_band
        return {
            "thread": self.bolt.thread,
            "grade": self.bolt.grade,
            "torque": None if self.torque_n_m is None else units.torque(self.torque_n_m),
            "computed": self.torque_n_m is not None,
            "preload": None if self.preload_n is None else units.force(self.preload_n),
            "share_of_proof_band": None if band is None else {"min": band[0], "max": band[1]},
            "missing": [one.record() for one in self.missing],
            "sources": [one.record() for one in self.sources],
        }


def base_bolt_torque(
    bolt: Bolt, lubrication: str | Mapping[str, Any] | Lubrication | None = "unknown"
) -> BaseBoltTorque:
    """Return the torque that brings a base bolt to 75 % of its proof load, never past it in its state's band.

    Raises
    ------
    CannotEvaluate
        Unknown thread, grade or lubrication.

    Source
    ------
    T = K d F, F = 0.75 S_p A_s (SHIGLEY, Mechanical Engineering Design, ch. 8: joints opened again). Where the band
    of the nut factor would take the bolt past proof, the torque is lowered until its lowest factor gives 100 %.
    """
    of = thread(bolt.thread)
    state = lubrication_of(lubrication)
    missing = [SAYS.missing("base_torque", "base_bolts/torque")]
    if not state.known:
        missing.append(SAYS.missing("base_lubrication", "base_bolts/lubrication"))
    if bolt.grade is None:
        missing.append(SAYS.missing("base_grade", "base_bolts/grade"))
        return BaseBoltTorque(bolt, None, None, None, tuple(missing), ())
    proof_n = bolt_grade(bolt.grade, of, "base_bolts/grade").proof_mpa * of.stress_area_mm2
    band = state.band(of)
    factor = min(band.nominal, band.low / PROOF_SHARE)
    torque_n_m = torque_from_preload(preload_n=PROOF_SHARE * proof_n, diameter_mm=of.diameter_mm, nut_factor=factor)
    preload_n, least_n, most_n = (
        preload_from_torque(torque_n_m=torque_n_m, diameter_mm=of.diameter_mm, nut_factor=one)
        for one in (band.nominal, band.high, band.low)
    )
    sources = (
        COMPUTED,
        provenance("threads_metric" if of.system == "metric" else "threads_unified").source,
        provenance("nut_factors").source,
        provenance("bolt_grades").source,
    )
    shares = (least_n / proof_n, most_n / proof_n)
    return BaseBoltTorque(bolt, torque_n_m, preload_n, shares, tuple(missing), sources)
