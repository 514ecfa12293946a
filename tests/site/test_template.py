"""A new site.yaml: valid as it stands, commented from the declarations, hostile names held."""

from __future__ import annotations

import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import Catalogue
from upmast.errors import UsageError
from upmast.site.load import from_text
from upmast.site.sheet_sites import SiteDraft
from upmast.site.template import template


def test_the_template_loads_without_a_fault(catalogue: Catalogue) -> None:
    site = from_text(yamlfile.parse(template("NESS-1", "Ness, the first")), catalogue)
    assert (site.id, site.name) == ("NESS-1", "Ness, the first")
    assert (len(site.sectors), len(site.radios), len(site.antennas)) == (1, 2, 1)
    assert site.cabinet.plant.battery is not None


def test_each_first_line_of_a_key_has_its_comment_with_the_unit() -> None:
    lines = template("NESS-1").splitlines()
    first_radio = lines.index(next(one for one in lines if one.startswith("radios:")))
    for line in lines[2:first_radio]:
        if line and "ice bridge" not in line and not line.startswith("  ") and not line.startswith("#"):
            assert "  # " in line, line
    assert any(one.split()[:2] == ["float_v:", "54"] and "# V: voltage on mains" in one for one in lines)
    assert any(one.strip().startswith("- centre_mhz: 806") and "# MHz: centre" in one for one in lines)


def test_a_schema_is_named_only_if_its_path_is_given() -> None:
    assert "yaml-language-server" not in template("NESS-1")
    text = template("NESS-1", schema="schema/site.schema.json")
    assert text.splitlines()[0] == "# yaml-language-server: $schema=schema/site.schema.json"
    with pytest.raises(UsageError):
        template("NESS-1", schema="a\nid: B")


@pytest.mark.parametrize(
    "name", ["a: b # c", "- x", "'", '"', "a\nid: EV1L", "true", "1.5", "&a *b !c", "\x85\u2028", "é" * 100]
)
def test_hostile_names_stay_names(name: str, catalogue: Catalogue) -> None:
    draft_text = template("NESS-1", name)
    assert from_text(yamlfile.parse(draft_text), catalogue).name == name


def test_what_a_draft_tells_cannot_leave_its_comment(catalogue: Catalogue) -> None:
    data = yamlfile.parse(template("NESS-1")).data
    draft = SiteDraft("NESS-1", "", data, (2,), assumed=("x\nid: B",), still_open=("y\u2028z: 1",))
    text = template("NESS-1", draft=draft)
    assert "# assumed: x id: B" in text
    assert from_text(yamlfile.parse(text), catalogue).id == "NESS-1"


@pytest.mark.parametrize("id", ["", "ness", "SITE 1", "A" * 25, "OIL", "A\n", "-A"])
def test_an_id_that_is_none_is_refused_with_the_nearest_one(id: str) -> None:
    with pytest.raises(UsageError, match="no id"):
        template(id)
