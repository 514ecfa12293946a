"""How a table was read, as it is kept: what a person or a guess decided about its columns, so that anybody reads it the same again."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field, StringConstraints

from upmast.record.kept import Kept, Words

Letters = Annotated[str, StringConstraints(pattern=r"^[A-Z]{1,3}$")]
Condition = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,40}$")]
MOST_COLUMNS = 200  # as a table may have


class ReadAs(BaseModel):
    """
    The decisions by which a table was read.

    `roles` and `units` stand for every column that was used, by its letters; `column` is that of one trace among several.
    """

    model_config = Kept.model_config
    form: Literal["trace", "values"]
    sheet: Words = ""
    kind: Words = ""
    header_row: int = Field(0, ge=0, le=1_000_000)
    decimal: Literal["", ",", ".", "both"] = ""
    sign: Literal["", "+", "-"] = ""
    roles: dict[Letters, Words] = Field(default_factory=dict, max_length=MOST_COLUMNS)
    units: dict[Letters, Words] = Field(default_factory=dict, max_length=MOST_COLUMNS)
    declared: dict[Condition, float | Words] = Field(default_factory=dict, max_length=60)
    repair: bool = False
    column: Letters | Literal[""] = ""
