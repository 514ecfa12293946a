"""Intermodulation in the calculation sheet: the sentence for each radio, the ladder, what would help, and the pictures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from upmast.documents.chart import chart_svg
from upmast.documents.jumper_pages import RfPicture
from upmast.documents.pim_charts import ladder_spec, meeting_spec, spectrum_spec
from upmast.documents.sheet import Block, Bullets, Cell, Column, Heading, Paragraph, Picture, Table, joined
from upmast.pim.state import Inputs
from upmast.pim.two_tone import CAUTION
from upmast.proof.mixes import Mix, Mixes
from upmast.proof.prove import Proof

MOST_PICTURES = 2  # radios that are drawn in one document
MOST_MEETINGS = 1


def pim_pictures(proof: Proof, found: Mixes, most: int = MOST_PICTURES) -> Iterator[RfPicture]:
    """Spectrum and ladder of each kind of radio that suffers, and which carriers meet in a sector."""
    room = proof.rooms["pim"].inputs
    assert isinstance(room, Inputs)
    seen: set[tuple[object, ...]] = set()
    for mix in found.mixes:
        if mix.ladder is None or (mix.tones, mix.ladder.rise_db) in seen or len(seen) >= most:
            continue
        seen.add((mix.tones, mix.ladder.rise_db))
        level = room.level_dbc[room.radios.index(mix.radio)]
        spectrum = spectrum_spec(mix, level)
        if spectrum is not None:
            yield RfPicture(
                f"pim-spectrum-{mix.radio.lower()}", spectrum,
                "Lines over frequency: the level of the products of each order, with the carriers, the receive channel and the receiver's noise.",
                f"What the carriers of {mix.radio} make",
            )  # fmt: skip
        ladder = ladder_spec(mix)
        if ladder is not None:
            yield RfPicture(
                f"pim-ladder-{mix.radio.lower()}", ladder,
                "Bars: what arrives at the receiver from each source of the line, together, and the receiver's noise.",
                f"From the sources to the receiver of {mix.radio}",
            )  # fmt: skip
    for meeting in sorted(found.meetings, key=lambda m: -m.total)[:MOST_MEETINGS]:
        spec = meeting_spec(meeting)
        if spec is not None:
            yield RfPicture(
                f"pim-meeting-{meeting.sector.lower()}", spec,
                "A field of carrier against carrier: the number of products of both that hit a receive channel of the sector.",
                f"Which carriers meet in sector {meeting.sector}",
            )  # fmt: skip


def pim_blocks(proof: Proof, found: Mixes, charts: bool = True) -> Iterable[Block]:
    """Sentences, ladders, what would help, the tones to set, and pictures."""
    yield Heading("Intermodulation")
    alike: dict[str, list[str]] = {}
    for one in found.mixes:
        alike.setdefault(one.sentence, []).append(one.radio)
    yield Bullets(tuple(f"{joined(ids, 12)}: {sentence}." for sentence, ids in alike.items()))
    seen: set[tuple[object, ...]] = set()
    for one in found.mixes:
        if one.ladder is None or (one.tones, one.ladder.rise_db) in seen:
            continue
        seen.add((one.tones, one.ladder.rise_db))
        yield _ladder(one)
        yield Bullets(tuple(_help(one)))
    if found.metals:
        yield Paragraph("Metal near the antennas, as declared:")
        yield Bullets(tuple(f"{metal.sector}: {metal.sentence}." for metal in found.metals))
    tests: dict[str, list[str]] = {}
    for one in found.mixes:
        words = one.test.words() if one.test is not None else one.own
        if words:
            tests.setdefault(words, []).append(one.radio)
    if tests:
        yield Paragraph("Tones for a test of one port:")
        yield Bullets(tuple(f"{joined(ids, 12)}: {words}." for words, ids in tests.items()))
    for note in (*found.notes, CAUTION.removesuffix(".")):
        yield Paragraph(note[0].upper() + note[1:] + ".", "note")
    if charts:
        for shown in pim_pictures(proof, found):
            yield Picture(chart_svg(shown.spec), shown.alt, shown.caption)


def _ladder(one: Mix) -> Table:
    ladder = one.ladder
    assert ladder is not None
    columns = (
        Column("Source", width=26), Column("Part", width=18), Column("Has", "dBc", 8), Column("At", "m", 7), Column("Loss", "dB", 7),
        Column("Arrives", "dBm", 9), Column("Share", "%", 7), Column("10 dB better brings", "dB", 12),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            f"{r.source.what} {r.source.name}", r.source.part, f"{r.source.level_dbc:g}", f"{r.place_m:.2f}", f"{r.loss_db:.2f}",
            f"{r.arrives_dbm:.1f}", f"{r.share_percent:.0f}", f"{r.better_db:.1f}",
        )
        for r in ladder.rungs
    ]  # fmt: skip
    rows.append(("together by power", "", "", "", "", f"{ladder.power_dbm:.1f}", "100", ""))
    rows.append(("at worst by voltage", "", "", "", "", f"{ladder.voltage_dbm:.1f}", "", ""))
    rows.append(("noise of the receiver", "", "", "", "", f"{ladder.noise_dbm:.1f}", "", ""))
    return Table(
        f"{one.radio}, {ladder.path}: from the sources to the receiver",
        columns,
        tuple(rows),
        ladder.limit_words[0].upper() + ladder.limit_words[1:] + ".",
    )


def _help(one: Mix) -> Iterator[str]:
    ladder = one.ladder
    assert ladder is not None
    names = [f"{t.centre_hz / 1e6:g} MHz" for t in one.tones]
    loud = ladder.loudest
    yield (
        f"The strongest source is {loud.source.what} {loud.source.name}: better by 10 dB it brings {loud.better_db:.1f} dB. Noise rise "
        f"{ladder.rise_db:.2f} dB, {ladder.worst_rise_db:.2f} dB at worst."
    )
    if one.rise is not None:
        words = ladder.loss_words(one.rise)
        yield f"{words[0].upper()}{words[1:]}."
    words = ladder.alike_words
    yield f"{words[0].upper()}{words[1:]}."
    if one.move:
        yield f"No product is left once {' and '.join(names[n] for n in one.move)} moves away."
    for pair in one.pairs[:2]:
        a, b = (names[n] for n in pair.carriers)
        yield f"{a} and {b} on different lines: noise rise {pair.worst_rise_db:.2f} dB, {pair.hits_left} products left."
    if one.plan is not None:
        yield f"Other centres in their blocks: {one.plan.words()}."


__all__ = ["pim_blocks", "pim_pictures"]
