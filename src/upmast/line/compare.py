"""The difference between two lines, in words of the trade: what is longer, what was changed, which labels to print again."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.line.line import Item, Line
from upmast.number import number


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference: the item, what differs, from what to what, in one sentence."""

    item: str
    field: str
    before: str
    after: str
    words: str


FIELDS = (
    "kind",
    "part",
    "length_m",
    "low_m",
    "high_m",
    "sector",
    "serves",
    "on",
    "count",
    "equipment",
    "serial",
    "turns",
    "exit_turn",
    "radius_m",
    "straight_m",
    "pitch_m",
)


def compare(before: Line, after: Line) -> tuple[Difference, ...]:
    """Every difference from one line to another, items in order, then joints."""
    out: list[Difference] = []
    for id in dict.fromkeys([*(i.id for i in before.items), *(i.id for i in after.items)]):
        a, b = before.by_id.get(id), after.by_id.get(id)
        if a is None and b is not None:
            out.append(Difference(id, "item", "", b.part or b.kind, f"{id} is new: {_what(after, b)}"))
        elif b is None and a is not None:
            out.append(Difference(id, "item", a.part or a.kind, "", f"{id} is gone: {_what(before, a)}"))
        elif a is not None and b is not None:
            out += [_field(name, a, b, before, after) for name in FIELDS if getattr(a, name) != getattr(b, name)]
    had = {frozenset((j.a, j.b)): j for j in before.joints}
    has = {frozenset((j.a, j.b)): j for j in after.joints}
    for key, joint in had.items():
        if key not in has:
            out.append(Difference(joint.a, "joint", joint.b, "", f"{joint.a} is no longer joined to {joint.b}"))
    for key, joint in has.items():
        if key in had and had[key].keys != joint.keys:
            crossed = {"crossed": "lanes crossed", "opposed": "straight"}
            duplex = "crossed" in (joint.keys, had[key].keys)
            now, was = (crossed.get(k, k) if duplex else f"keys {k}" for k in (joint.keys, had[key].keys))
            words = f"{joint.a} and {joint.b}: {now} instead of {was}"
            out.append(Difference(joint.a, "joint", had[key].keys, joint.keys, words))
        if key not in had:
            out.append(Difference(joint.a, "joint", "", joint.b, f"{joint.a} is now joined to {joint.b}"))
    return tuple(out)


def _what(line: Line, item: Item) -> str:
    title = line.parts[item.part].title if item.part else item.kind
    length = f", {number(item.length_m, 'm')}" if item.length_m is not None else ""
    many = f", {item.count} pieces" if item.count > 1 else ""
    return f"{title}{length}{many}"


def _field(name: str, a: Item, b: Item, before: Line, after: Line) -> Difference:
    old, new = getattr(a, name), getattr(b, name)
    if name == "length_m":
        change = (new or 0.0) - (old or 0.0)
        words = f"{a.id} is {number(abs(change), 'm')} {'longer' if change > 0 else 'shorter'}: {number(new, 'm')} instead of {number(old, 'm')}"
    elif name == "part":
        words = f"{a.id} is {_what(after, b)} instead of {_what(before, a)}"
    elif name == "count":
        words = f"{a.id}: {new} instead of {old}"
    elif name in ("low_m", "high_m"):
        end = "lower" if name == "low_m" else "upper"
        words = f"{a.id}: {end} end at {number(new, 'm')} instead of {number(old, 'm')}"
    else:
        words = f"{a.id}: {name} is {_plain(new)} instead of {_plain(old)}"
    return Difference(a.id, name, str(old), str(new), words)


def _plain(value: object) -> str:
    """A value without brackets; `nothing` where there is none."""
    if isinstance(value, tuple):
        return ", ".join(" ".join(one) if isinstance(one, tuple) else str(one) for one in value) or "nothing"
    return str(value) or "nothing"


def summary(differences: tuple[Difference, ...]) -> str:
    """One line: how many spans are longer or shorter, parts changed, items new and gone, joints changed, labels to print."""
    if not differences:
        return "no difference"
    longer = sum(d.field == "length_m" and "longer" in d.words for d in differences)
    shorter = sum(d.field == "length_m" and "shorter" in d.words for d in differences)
    changed = len({d.item for d in differences if d.field == "part"})
    new = sum(d.field == "item" and not d.before for d in differences)
    gone = sum(d.field == "item" and not d.after for d in differences)
    joints = sum(d.field == "joint" for d in differences)
    labels = len(
        {d.item.split(".")[0] for d in differences if d.field in ("item", "joint", "serves", "length_m", "part")}
    )
    parts = [
        f"{longer} longer" if longer else "", f"{shorter} shorter" if shorter else "", f"{changed} of another part" if changed else "",
        f"{new} new" if new else "", f"{gone} gone" if gone else "", f"{joints} joint{'' if joints == 1 else 's'} changed" if joints else "",
    ]  # fmt: skip
    return ", ".join(p for p in parts if p) + (
        f"; {labels} label{'' if labels == 1 else 's'} to print again" if labels else ""
    )


__all__ = ["Difference", "compare", "summary"]
