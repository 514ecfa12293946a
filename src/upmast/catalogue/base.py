"""What every part of an antenna line has: name, price, mass, lead time, and the source of each value."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field, StringConstraints

from upmast.declare import Declared
from upmast.source import INVENTED, Mark, Source

PartId = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(?:[-.][a-z0-9]+)*$", max_length=60)]
Count = Annotated[int, Field(ge=0, le=288)]
_MARKS = {str(mark): mark for mark in Mark}


class Part(Declared):
    """What every part has."""

    # fields that came after the first lines were written: at their defaults they don't count in a part's digest
    later: ClassVar[frozenset[str]] = frozenset()

    id: PartId = Field(description="name of the part in files: lower case, digits and hyphens, e.g. trunk-9x10-24f")
    title: str = Field(min_length=1, max_length=120, description="what it is, in words, as it stands in a kit list")
    cost: float = Field(
        0.0, ge=0, description="price of one piece (for a cable: of its made ends), in the site's cost units"
    )
    mass_kg: float = Field(0.0, ge=0, description="mass of one piece (for a cable: of its ends)")
    lead_time_d: float = Field(ge=0, le=1000, description="time from order to delivery")
    source: str = Field(min_length=2, max_length=200, description="where the values come from, or the word invented")
    sources: dict[str, str] = Field(
        default_factory=dict,
        description="source of single values, by field, where it differs; a mark may stand behind it: `IEC 61169-54 [memory]`",
    )
    note: str = Field("", max_length=400, description="anything a person should know")

    def source_of(self, field: str) -> Source:
        """
        The source of one value. A field without an entry of its own has the source of the part; one that the part does not give
        has our default, and says so.
        """
        fields = type(self).model_fields
        if (
            field in fields
            and field not in self.model_fields_set
            and field not in self.sources
            and not fields[field].is_required()
        ):
            return Source(f"not given by part {self.id}", field, mark=Mark.PRACTICE)
        text = self.sources.get(field, self.source)
        if text == "invented":
            return INVENTED if field == "" else Source(f"part {self.id}", field, mark=Mark.INVENTED)
        document, _, word = text.removesuffix("]").rpartition(" [")
        if text.endswith("]") and word in _MARKS:
            return Source(document, field, mark=_MARKS[word])
        return Source(text, field)


WITHSTANDS = frozenset({"sheath_uv", "corrosion_class", "armour", "impact_j", "vibration_tested"})


class Outdoors(Part):
    """What every cable may say of what it withstands outdoors. Where it does not say, a declared hazard is not judged."""

    sheath_uv: bool | None = Field(None, description="sheath made for sunlight")
    corrosion_class: Literal["C1", "C2", "C3", "C4", "C5", "CX"] | None = Field(
        None, description="highest corrosivity category of ISO 9223 for its metal parts"
    )
    armour: Literal["none", "braid", "metal tape", "wire", "corrugated tube", "conduit"] | None = Field(
        None, description="what lies over the cores against tooth and blow"
    )
    impact_j: float | None = Field(None, ge=0, le=1000, description="blow that it withstands, in joules")
    vibration_tested: bool | None = Field(None, description="tested for vibration, or its clamps are")
