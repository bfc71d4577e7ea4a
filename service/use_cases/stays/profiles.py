"""Entering a version of an import profile, and finding the one that an import names."""

from typing import Any

from service.errors import CannotEvaluate, nearest
from service.record import sha256
from service.store.queries import import_profiles
from service.store.queries.import_profiles import ImportProfileRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.found import found
from service.use_cases.stays.import_read import zone_of
from service.use_cases.stays.profile import Profile, faults_of, profile_of


def check_profile(document: dict[str, Any]) -> None:
    """Refuse a profile that contradicts itself or names what is not there.

    Raises
    ------
    CannotEvaluate
        ``import_profile_refused``, with every fault.
    """
    wrong = faults_of(document)
    zone = document.get("dates", {}).get("zone")
    if zone is not None:
        try:
            zone_of(zone)
        except CannotEvaluate as unknown:
            wrong.append(("#/dates/zone", unknown.code, str(unknown)))
    if wrong:
        faults = [{"pointer": pointer, "code": code, "detail": detail} for pointer, code, detail in wrong[:100]]
        more = f" (and {len(wrong) - 1} more)" if len(wrong) > 1 else ""
        said = f"{wrong[0][0].removeprefix('#/')}: {wrong[0][2]}{more}"
        raise CannotEvaluate(said, code="import_profile_refused", faults=faults)


def enter_profile(tx: Tx, given: dict[str, Any]) -> tuple[ImportProfileRow, Event]:
    """Store the next version of a checked profile, in force from now on, and return it with its event."""
    document = {member: value for member, value in given.items() if member != "name"}
    row = import_profiles.insert_import_profile(tx, name=given["name"], document=document)
    data = {"name": row.name, "version": row.version}
    return row, Event("import_profile.entered", "import_profile", row.id, None, sha256(document), data)


def profile_row(tx: Tx, profile_id: str) -> ImportProfileRow:
    """Return one version that a path names, or raise NotFound."""
    return found(import_profiles.import_profile_by_id(tx, profile_id), "import profile", profile_id)


def profile_named(tx: Tx, name: str) -> Profile:
    """Return the profile in force of this name.

    Raises
    ------
    CannotEvaluate
        ``unknown_import_profile``
    """
    row = import_profiles.import_profile_in_force(tx, name)
    if row is not None:
        return profile_of(row.document)
    known = import_profiles.names_of_import_profiles(tx)
    listed = ", ".join(known[:20]) or "none"
    said = f"no import profile of this site has the name {name}{nearest([name], known)}; there are {listed}"
    raise CannotEvaluate(said, code="unknown_import_profile", field="profile")
