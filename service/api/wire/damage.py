"""The field of a mode of damage by ISO 15243: our code, the number of the clause, or a term of either edition."""

from typing import Any, Final

from service.api.http import fields
from service.errors import CannotEvaluate
from service.history.damage import damage_code

EXAMPLE: Final = "rolling_contact_fatigue.subsurface_initiated"


class DamageField(fields.Text):
    """A mode of damage; becomes our code."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(80, metadata={"examples": [EXAMPLE, "5.1.2"]}, **kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        text = super()._deserialize(value, attr, data, **kwargs)
        try:
            return damage_code(text)
        except CannotEvaluate as error:
            raise fields.Refused(error.code, str(error)) from None
