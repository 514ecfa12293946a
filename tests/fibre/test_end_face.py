"""End faces: zones as data, and no verdict on values from memory."""

from __future__ import annotations

import itertools

import pytest

from upmast.fibre.end_face import EndFaceMark, grade, zones
from upmast.finding import Verdict
from upmast.source import Mark


@pytest.mark.parametrize("finish", ["upc", "apc"])
def test_zones_follow_each_other_and_are_from_memory(finish: str) -> None:
    found = zones(finish)
    assert [z.name for z in found] == ["core", "cladding", "adhesive", "contact"]
    assert all(a.to_um == b.from_um for a, b in itertools.pairwise(found))
    assert all(z.source.mark is Mark.MEMORY for z in found)


def test_nothing_is_judged_until_somebody_confirms_the_zones() -> None:
    dirty = [EndFaceMark("defect", 12.0, 5.0)]
    found = grade("upc", dirty)
    assert found.verdict is Verdict.NOT_JUDGED
    assert found.reasons == ("core: 1 defect, none may be there",)
    assert "confirm them by name" in found.missing[0]
    assert grade("upc", dirty, "N. Reader").verdict is Verdict.FAILS
    assert grade("upc", [], "N. Reader").verdict is Verdict.PASSES
    assert grade("upc", None, "N. Reader").missing == ("an inspection of this end face, before anything is mated",)


def test_marks_count_in_their_zone_and_by_their_size() -> None:
    # 40 um from the centre is in the cladding zone (25 to 120 um across); 4 um defects don't count there, 6 um ones do
    small, large = EndFaceMark("defect", 4.0, 40.0), EndFaceMark("defect", 6.0, 40.0)
    assert grade("upc", [small] * 9, "N. R.").verdict is Verdict.PASSES
    assert grade("upc", [large] * 5, "N. R.").verdict is Verdict.PASSES
    assert grade("upc", [large] * 6, "N. R.").reasons == ("cladding: 6 defects over 5 µm, 5 may be there",)
    scratch = EndFaceMark("scratch", 2.0, 3.0)
    assert grade("upc", [scratch], "N. R.").verdict is Verdict.FAILS
    assert grade("apc", [scratch], "N. R.").verdict is Verdict.PASSES
    outside = EndFaceMark("defect", 50.0, 126.0)
    assert grade("upc", [outside], "N. R.").verdict is Verdict.PASSES  # beyond 250 um across nothing touches


def test_bad_marks_are_refused() -> None:
    with pytest.raises(ValueError, match="a scratch or a defect"):
        grade("upc", [EndFaceMark("dust", 1.0, 1.0)])
    with pytest.raises(ValueError, match="from 0 um"):
        grade("upc", [EndFaceMark("defect", float("nan"), 1.0)])
    with pytest.raises(ValueError, match="'upc' and 'apc'"):
        zones("pc")
