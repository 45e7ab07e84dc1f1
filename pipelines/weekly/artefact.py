"""A typed value to files and back: frames to Parquet, arrays to NPZ, the rest to JSON.

The declared type leads in both directions, so nothing in a file decides what is built, and
nothing in it can act.  Taken are frozen dataclasses and named tuples of frames, arrays and
plain values, and tuples, lists and mappings of such.  `form` is a digest of the declared type
down to its fields: what was written by another version of the program is refused by it.
The same value gives the same bytes.
"""

import base64
import hashlib
import io
import json
import lzma
import math
import types
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np
import polars as pl

from ringland.pages.papers.zip_file import zipped

_PLAIN = (str, int, float, bool, type(None), datetime, date, bytes)
_XZ = b"\xfd7zXZ\x00"
_SAID_FLOATS = {"nan": math.nan, "inf": math.inf, "-inf": -math.inf}


class FormError(ValueError):
    """A value cannot be kept in this form, or a file was not written in it."""


@dataclass
class Parts:
    """The frames and arrays of a value by their place in it, e.g. 'curves.0.steps'."""

    frames: dict[str, pl.DataFrame]
    arrays: dict[str, np.ndarray]


def form_of(hint: Any) -> str:
    """A digest of a declared type, with all fields of the classes in it."""
    seen: dict[type, str] = {}
    text = json.dumps([_told(hint, seen), sorted(seen.values())])
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def taken_apart(value: object, hint: Any) -> tuple[Any, Parts]:
    """A JSON document with the frames and arrays it leaves out.

    Raises:
        FormError: the value is not of the declared type, or the type cannot be kept.
    """
    parts = Parts({}, {})
    return _out(value, hint, "", parts), parts


def put_together(document: Any, parts: Parts, hint: Any) -> Any:
    """The value that was taken apart.

    Raises:
        FormError: the document is not of the declared type.
    """
    try:
        return _in(document, hint, parts)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise FormError(f"this is no {_name(hint)} ({error})") from error


def parquet_bytes(frame: pl.DataFrame) -> bytes:
    """The frame as Parquet, compressed; Polars reads and writes it the same on every machine."""
    out = io.BytesIO()
    frame.write_parquet(out, compression="zstd", compression_level=9, statistics=False)
    return out.getvalue()


def npz_bytes(arrays: Mapping[str, np.ndarray]) -> bytes:
    """The arrays as one NPZ without pickles and without a time, packed as a whole."""
    files = {}
    for name, array in arrays.items():
        out = io.BytesIO()
        np.lib.format.write_array(out, np.ascontiguousarray(array), allow_pickle=False)
        files[f"{name}.npy"] = out.getvalue()
    return packed(files, preset=3)  # 6 would take 6 % off for three times as long


def npz_arrays(content: bytes) -> dict[str, np.ndarray]:
    """The arrays of an NPZ, packed as a whole or not; one that holds objects is refused."""
    whole = lzma.decompress(content) if content.startswith(_XZ) else content
    with np.load(io.BytesIO(whole), allow_pickle=False) as held:
        return {name: held[name] for name in held.files}


def packed(files: Mapping[str, bytes], preset: int = 6) -> bytes:
    """Files as one ZIP packed as a whole: what they have in common is kept once."""
    return lzma.compress(zipped(files, is_packed=False), preset=preset)


def unpacked(content: bytes) -> dict[str, bytes]:
    """The files of a ZIP by path, whether or not it was packed as a whole."""
    whole = lzma.decompress(content) if content.startswith(_XZ) else content
    with zipfile.ZipFile(io.BytesIO(whole)) as held:
        return {name: held.read(name) for name in held.namelist()}


def canonical(document: Any) -> bytes:
    """A document as JSON, the same bytes for the same content."""
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()


@cache
def _fields_of(kind: type) -> dict[str, Any]:
    hints = get_type_hints(kind)
    if is_dataclass(kind):
        return {field.name: hints[field.name] for field in fields(kind)}
    return {name: hints[name] for name in kind._fields}  # type: ignore[attr-defined]  # named tuple


def _is_record(hint: Any) -> bool:
    return isinstance(hint, type) and (is_dataclass(hint) or hasattr(hint, "_fields"))


def _is_array(hint: Any) -> bool:
    return hint is np.ndarray or get_origin(hint) is np.ndarray


def _is_frame(hint: Any) -> bool:
    kind = get_origin(hint) or hint
    return isinstance(kind, type) and issubclass(kind, pl.DataFrame)


def _is_union(hint: Any) -> bool:
    return get_origin(hint) in (Union, types.UnionType)


def _is_mapping(origin: Any) -> bool:
    return isinstance(origin, type) and issubclass(origin, Mapping)


def _is_row(origin: Any) -> bool:
    """Whether these are values in a row; text and bytes are not."""
    is_row = isinstance(origin, type) and issubclass(origin, Sequence)
    return is_row and origin not in (str, bytes)


def _name(hint: Any) -> str:
    return getattr(hint, "__name__", str(hint))


def _told(hint: Any, seen: dict[type, str]) -> Any:
    if _is_record(hint):
        if hint not in seen:
            seen[hint] = ""
            told = {name: _told(of, seen) for name, of in _fields_of(hint).items()}
            seen[hint] = f"{hint.__name__} {json.dumps(told)}"
        return hint.__name__
    if _is_array(hint):
        return "array"
    if get_origin(hint) is not None:
        return [_name(get_origin(hint)), *(_told(part, seen) for part in get_args(hint))]
    return str(hint) if hint is ... or not hasattr(hint, "__name__") else hint.__name__


def _out(value: Any, hint: Any, at: str, parts: Parts) -> Any:  # noqa: PLR0911 - one form each
    if hint is Any or hint is object:
        return _self_told(value, at)
    if _is_union(hint):
        return _out_union(value, get_args(hint), at, parts)
    if get_origin(hint) is Literal:
        hint = type(get_args(hint)[0])
    if _is_frame(hint):
        _expect(value, pl.DataFrame, at)
        parts.frames[at or "rows"] = value
        return {"frame": at or "rows"}
    if _is_array(hint):
        _expect(value, np.ndarray, at)
        parts.arrays[at or "values"] = value
        return {"array": at or "values"}
    if _is_record(hint):
        _expect(value, hint, at)
        return {
            name: _out(getattr(value, name), of, f"{at}.{name}".strip("."), parts)
            for name, of in _fields_of(hint).items()
        }
    origin, inner = get_origin(hint) or hint, get_args(hint)
    if _is_mapping(origin):
        _expect(value, Mapping, at)
        key_hint, of = inner or (Any, Any)
        return [
            [_out(key, key_hint, at, parts), _out(one, of, f"{at}.{_path(key)}".strip("."), parts)]
            for key, one in value.items()
        ]
    if _is_row(origin):
        _expect(value, Sequence, at)
        hints = _each(inner, len(value))
        return [
            _out(one, of, f"{at}.{place}".strip("."), parts)
            for place, (one, of) in enumerate(zip(value, hints, strict=True))
        ]
    if hint in _PLAIN or hint is None:
        return _plain(value, at)
    raise FormError(f"{at or 'the value'}: a {_name(hint)} cannot be kept.")


def _out_union(value: Any, options: tuple[Any, ...], at: str, parts: Parts) -> Any:
    if value is None:
        return None
    given = [option for option in options if option is not type(None)]
    for place, option in enumerate(given):
        if _fits(value, option):
            made = _out(value, option, at, parts)
            return made if len(given) == 1 else {"option": place, "value": made}
    raise FormError(f"{at}: {type(value).__name__} is none of {', '.join(map(_name, given))}.")


def _fits(value: Any, hint: Any) -> bool:
    if hint is Any:
        return True
    kind = get_origin(hint) or hint
    if kind is float:
        return isinstance(value, (int, float, np.floating)) and not isinstance(value, bool)
    return isinstance(value, kind) and not (kind is int and isinstance(value, bool))


def _in(node: Any, hint: Any, parts: Parts) -> Any:  # noqa: PLR0911 - one form each
    if hint is Any or hint is object:
        return _self_read(node)
    if _is_union(hint):
        given = [option for option in get_args(hint) if option is not type(None)]
        if node is None:
            return None
        if len(given) == 1:
            return _in(node, given[0], parts)
        return _in(node["value"], given[node["option"]], parts)
    if _is_frame(hint):
        return parts.frames[node["frame"]]
    if _is_array(hint):
        return parts.arrays[node["array"]]
    if _is_record(hint):
        known = _fields_of(hint)
        if set(node) != set(known):
            raise FormError(f"a {_name(hint)} with other fields")
        return hint(**{name: _in(node[name], of, parts) for name, of in known.items()})
    origin, inner = get_origin(hint) or hint, get_args(hint)
    if _is_mapping(origin):
        key_hint, of = inner or (Any, Any)
        return {_in(key, key_hint, parts): _in(one, of, parts) for key, one in node}
    if _is_row(origin):
        made = [_in(one, of, parts) for one, of in zip(node, _each(inner, len(node)), strict=True)]
        return made if origin is list else tuple(made)
    if get_origin(hint) is Literal:
        return _self_read(node)
    return _READ.get(hint, _self_read)(node)


def _each(inner: tuple[Any, ...], length: int) -> Sequence[Any]:
    if not inner:
        return [Any] * length
    if len(inner) == 1 or inner[1] is ...:
        return [inner[0]] * length
    return inner


def _path(key: object) -> str:
    """A mapping's key as part of a file's name."""
    text = str(key)
    if text.replace("_", "").replace("-", "").isalnum() and text.isascii():
        return text
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _expect(value: object, kind: Any, at: str) -> None:
    if not isinstance(value, kind):
        raise FormError(f"{at or 'the value'} is a {type(value).__name__}, not a {_name(kind)}.")


def _plain(value: Any, at: str) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, bool) or value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        said = [name for name, one in _SAID_FLOATS.items() if str(one) == str(value)]
        return {"float": said[0]} if said else value
    if isinstance(value, datetime):
        return {"instant": value.isoformat()}
    if isinstance(value, date):
        return {"day": value.isoformat()}
    if isinstance(value, bytes):
        return {"bytes": base64.b64encode(value).decode()}
    raise FormError(f"{at or 'the value'}: a {type(value).__name__} cannot be kept.")


def _self_told(value: Any, at: str) -> Any:
    """A plain value that says itself what it is, for what is declared as anything."""
    if isinstance(value, Mapping):
        return {"map": [[_plain(key, at), _self_told(one, at)] for key, one in value.items()]}
    if isinstance(value, (list, tuple)):
        rows = [_self_told(one, at) for one in value]
        return {"list" if isinstance(value, list) else "tuple": rows}
    return _plain(value, at)


def _self_read(node: Any) -> Any:
    if not isinstance(node, dict):
        return node
    ((kind, content),) = node.items()
    return _SELF[kind](content)


_SELF: dict[str, Callable[[Any], Any]] = {
    "float": lambda name: _SAID_FLOATS[name],
    "instant": datetime.fromisoformat,
    "day": date.fromisoformat,
    "bytes": base64.b64decode,
    "map": lambda rows: {_self_read(key): _self_read(one) for key, one in rows},
    "list": lambda rows: [_self_read(one) for one in rows],
    "tuple": lambda rows: tuple(_self_read(one) for one in rows),
}
_READ: dict[Any, Callable[[Any], Any]] = {float: lambda node: float(_self_read(node))}
