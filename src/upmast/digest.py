"""A content digest of plain data: equal content gives an equal digest, whatever the object."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping
from enum import Enum
from typing import Any


def digest(*values: Any) -> str:
    """
    SHA-256 over values in a canonical form: numbers, text, enums, tuples, mappings, dataclasses and NumPy arrays.

    Raises
    ------
    TypeError
        For anything else: an object without a canonical form must not slip into a digest.
    """
    state = hashlib.sha256()
    _feed(state, values)
    return state.hexdigest()


def _feed(state: Any, value: Any) -> None:
    if isinstance(value, Enum):
        state.update(type(value).__name__.encode() + b"=")
        _feed(state, value.value)
    elif value is None or isinstance(value, bool | int | float | str):
        for kind in (bool, int, float, str):
            if isinstance(value, kind):  # a NumPy number or another subclass counts as what it is a kind of
                value = kind(value)
                break
        text = repr(value)
        state.update(f"{type(value).__name__}{len(text)}:{text}".encode())
    elif isinstance(value, bytes):
        state.update(b"bytes%d:" % len(value) + value)
    elif isinstance(value, tuple | list):
        state.update(b"(%d" % len(value))
        for part in value:
            _feed(state, part)
    elif isinstance(value, frozenset | set):
        _feed(state, sorted(value))
    elif isinstance(value, Mapping):
        state.update(b"{%d" % len(value))
        for key in sorted(value, key=str):
            _feed(state, key)
            _feed(state, value[key])
    elif hasattr(value, "tobytes") and hasattr(value, "dtype"):
        if value.dtype == object:
            _feed(state, value.tolist())
        else:
            state.update(f"a{value.dtype.str}{value.shape}".encode())
            state.update(value.tobytes())
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        state.update(type(value).__name__.encode() + b"<")
        for item in dataclasses.fields(value):
            if item.compare:
                _feed(state, getattr(value, item.name))
    else:
        raise TypeError(f"no canonical form for {type(value).__name__}")
