"""
The tables of a record as queries see them. They are made by `migrations`; a test holds the two together.

`entries` is the chain and the only truth. `handles` and `verdicts` are made from it, to find things quickly; `verify` makes them
again and compares. `contents` holds raw files, or says that one stands in the folder beside.
"""

from __future__ import annotations

from upmast.record.database import sa

META = sa.MetaData()

STEPS = sa.Table(
    "record_steps", META,
    sa.Column("step", sa.Integer, primary_key=True),
    sa.Column("time", sa.Text, nullable=False),
    sa.Column("program", sa.Text, nullable=False),
)  # fmt: skip

SITES = sa.Table(
    "sites", META,
    sa.Column("site", sa.Text, primary_key=True),
    sa.Column("entries", sa.BigInteger, nullable=False),
    sa.Column("head", sa.Text, nullable=False),
)  # fmt: skip

ENTRIES = sa.Table(
    "entries", META,
    sa.Column("site", sa.Text, primary_key=True),
    sa.Column("number", sa.BigInteger, primary_key=True),
    sa.Column("previous", sa.Text, nullable=False),
    sa.Column("time", sa.Text, nullable=False),
    sa.Column("author", sa.Text, nullable=False),
    sa.Column("program", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("digest", sa.Text, nullable=False),
    sa.Column("key", sa.Text, nullable=False),
)  # fmt: skip

HANDLES = sa.Table(
    "handles", META,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("value", sa.Text, primary_key=True),
    sa.Column("site", sa.Text, primary_key=True),
    sa.Column("number", sa.BigInteger, primary_key=True),
)  # fmt: skip

VERDICTS = sa.Table(
    "verdicts", META,
    sa.Column("site", sa.Text, primary_key=True),
    sa.Column("number", sa.BigInteger, primary_key=True),
    sa.Column("item", sa.Text, nullable=False),
    sa.Column("test", sa.Text, nullable=False),
    sa.Column("measurement", sa.Text, nullable=False),
    sa.Column("line", sa.Text, nullable=False),
    sa.Column("verdict", sa.Text, nullable=False),
    sa.Column("code", sa.Text, nullable=False),
    sa.Column("value", sa.Double),
    sa.Column("unit", sa.Text, nullable=False),
    sa.Column("limit_value", sa.Double),
    sa.Column("margin", sa.Double),
    sa.Column("rules", sa.Text, nullable=False),
    sa.Column("program", sa.Text, nullable=False),
    sa.Column("time", sa.Text, nullable=False),
)  # fmt: skip

CONTENTS = sa.Table(
    "contents", META,
    sa.Column("digest", sa.Text, primary_key=True),
    sa.Column("bytes", sa.BigInteger, nullable=False),
    sa.Column("place", sa.Text, nullable=False),  # database or folder
    sa.Column("data", sa.LargeBinary),
)  # fmt: skip
