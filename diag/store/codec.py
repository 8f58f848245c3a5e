"""Records to JSON and back, by their types; a field that has its default is left out, and so is one
that is no part of what a record says (where it was read).

May import: `diag.basics`, and within the room the records.
"""

from __future__ import annotations

import dataclasses
import json
import math
import types
import typing
from functools import cache

from diag.basics import BookError, UsageError
from diag.store.records import KINDS, Event, Payload

__all__ = ["compact", "event_line", "payload_of", "payload_text"]

Json = dict[str, "Json"] | list["Json"] | str | int | float | bool | None


def compact(value: object) -> str:
    """JSON on one line, without needless spaces, keys in their order, every digit kept."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def payload_text(payload: Payload) -> str:
    """What a journal's line says, as JSON. Raises UsageError for text that is no text and numbers that are none."""
    return compact(_plain(payload))


def payload_of(kind: str, text: str, where: str) -> Payload:
    """The other way round. Raises BookError, naming `where`, for a kind or a form that this program does not know."""
    if kind not in KINDS:
        raise BookError(f"{where}: there is no kind of event '{kind}'; a newer diag may have written it")
    try:
        value = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BookError(f"{where}: this is not JSON ({error})") from None
    payload: Payload = _record(KINDS[kind], value, f"{where}, {kind}")
    return payload


def event_line(event: Event) -> dict[str, Json]:
    """A journal's line as a dictionary that JSON can hold."""
    data = _plain(event.payload)
    return {"revision": event.revision, "kind": event.kind, "at": event.at, "by": event.by, "data": data}


def _plain(value: object) -> Json:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: _plain(told)
            for field in dataclasses.fields(value)
            if field.compare and (told := getattr(value, field.name)) != field.default
        }
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        raise UsageError("a case cannot hold a number that is not finite")
    if isinstance(value, str):
        return _text(value)
    assert value is None or isinstance(value, int | float)
    return value


def _text(text: str) -> str:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise UsageError("this is not text in UTF-8: " + text.encode("utf-8", "replace").decode()) from None
    return text


@cache
def _hints(kind: type) -> dict[str, object]:
    return typing.get_type_hints(kind)


def _record(kind: type, value: object, where: str) -> typing.Any:
    if not isinstance(value, dict):
        raise BookError(f"{where}: this should be a mapping")
    fields = {field.name: field for field in dataclasses.fields(kind)}
    unknown = [name for name in value if name not in fields]
    if unknown:
        raise BookError(f"{where}: '{unknown[0]}' is not known here; a newer diag may have written it")
    missing = [
        name
        for name, field in fields.items()
        if name not in value and field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    ]
    if missing:
        raise BookError(f"{where}: '{missing[0]}' is missing")
    hints = _hints(kind)
    return kind(**{name: _read(hints[name], told, f"{where}.{name}") for name, told in value.items()})


def _read(hint: object, value: object, where: str) -> object:
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return _record(hint, value, where)
    if origin is tuple and isinstance(value, list):
        kinds = [arguments[0]] * len(value) if arguments[-1] is Ellipsis else list(arguments)
        if len(kinds) == len(value):
            return tuple(
                _read(kind, item, f"{where}[{number}]")
                for number, (kind, item) in enumerate(zip(kinds, value, strict=True))
            )
    elif origin is typing.Literal and value in arguments:
        return value
    elif origin in (types.UnionType, typing.Union):
        for kind in sorted(arguments, key=lambda each: each is not type(value)):  # the very type first
            if _fits(kind, value):
                return _read(kind, value, where)
    elif isinstance(hint, type) and _fits(hint, value):
        return float(value) if hint is float else value  # type: ignore[arg-type]  # _fits has seen to it
    raise BookError(f"{where}: {json.dumps(value)[:60]} does not belong here")


def _fits(hint: object, value: object) -> bool:
    if typing.get_origin(hint) is typing.Literal:
        return value in typing.get_args(hint)
    if isinstance(value, bool):
        return hint is bool
    if hint is float:
        return isinstance(value, int | float) and math.isfinite(value)
    return isinstance(hint, type) and isinstance(value, hint)
