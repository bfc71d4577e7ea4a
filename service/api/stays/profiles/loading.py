"""A profile as a function loads it, for the command line. No web framework is loaded with it."""

from typing import Final

from service.api.http.faults import loader
from service.api.stays.profiles.schemas import ImportProfileRequest

LOAD_PROFILE: Final = loader(ImportProfileRequest(), "the profile")
