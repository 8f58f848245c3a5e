"""Writes a case as a file that a person can read, and that reads back to the same case.

May import: `diag.basics`, `diag.knowledge_base`, and within the room the records, `engine_choice`, `quantities`,
`trim_codes` and `words`.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from diag.basics import UsageError, counted, is_there, write_whole
from diag.casebook.cases import NOT_LOOKED, Answer, Case, CodeRead, Epoch, Measured, TrimCode, Work
from diag.casebook.engine_choice import is_engine_file
from diag.casebook.quantities import is_ambiguous
from diag.casebook.trim_codes import NO_CODE, TRIM_KEYS
from diag.casebook.words import HELPED_ANSWERS
from diag.knowledge_base import engine_text

__all__ = ["dump_case", "save_case"]

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_]*(?: [A-Za-z0-9_]+)*")
_READ_AS_OTHER = {"null", "true", "false", "yes", "no", "on", "off", "y", "n"}
_SAID = {NOT_LOOKED: "not looked at"}
_PRINTABLE = re.compile(r"[^\x20-\x21\x23-\x5b\x5d-\x7e\xa1-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd]")


def save_case(case: Case, path: Path | str, overwrite: bool = True) -> Path | None:
    """Write the case to `path`, whole or not at all. An engine's file is named relative to it where it lies near; where
    that is not there (any more, or on this machine) the engine is written beside the case, and its path is given.

    Raises UsageError where it cannot be written, or is there already and `overwrite` is false.
    """
    beside = None
    if is_engine_file(case.engine_id) and not is_there(case.engine_id) and (overwrite or not is_there(path)):
        beside = _beside(case, Path(path).parent)
        case = replace(case, engine_id=str(beside.resolve()))
    write_whole(path, dump_case(case, Path(path).parent), overwrite)
    return beside


def _beside(case: Case, folder: Path) -> Path:
    """The engine's file in this folder, written where it is not there. Raises UsageError for another of that name."""
    path, text = folder / Path(case.engine_id).name, engine_text(case.engine)
    if not is_there(path):
        write_whole(path, text, overwrite=False)
    elif path.read_bytes() != text.encode():
        raise UsageError(
            f"the engine's own file {case.engine_id} is not there, so it is written beside the case; but {path} is "
            "there already and may be another engine: choose another folder"
        )
    return path


def dump_case(case: Case, folder: Path | None = None) -> str:
    """The case as the text of a case file; an engine's file is named relative to `folder` where it lies within.

    Raises ValueError for epochs that no file can tell: a first one with work, or a later one without.
    """
    if not case.epochs or case.epochs[0].work or not all(epoch.work for epoch in case.epochs[1:]):
        raise ValueError("the first epoch has no work, and every later one begins with work")
    lines = [f"title: {_text(case.title)}"] if case.title else []
    lines.append(f"engine: {_engine(case.engine_id, folder)}")
    lines += [f"distance: {_unmistakable(case.distance_km)} km"] if case.distance_km is not None else []
    lines += [f"age: {counted(_number(case.age_years)):year|years}"] if case.age_years is not None else []
    if case.history:
        lines += ["history:", *(f"  - {{{_work(work)}}}" for work in case.history)]
    lines += _found(case.epochs[0], "")
    if len(case.epochs) > 1:
        lines += ["tried:", *(line for epoch in case.epochs[1:] for line in _epoch(epoch))]
    lines += [f"numbering: {case.numbering.replace('_', ' ')}"] if case.numbering is not None else []
    lines += _ledger(case.trim_codes)
    if case.open_access:
        lines.append(f"open: [{', '.join(f'{kind} {bank}' for kind, bank in case.open_access)}]")
    lines += [f"cannot: [{', '.join(case.cannot)}]"] if case.cannot else []
    lines += [f"note: {_text(case.note)}"] if case.note else []
    return "\n".join(lines) + "\n"


def _engine(engine_id: str, folder: Path | None) -> str:
    if not is_engine_file(engine_id):
        return _text(engine_id)
    path = Path(engine_id)
    if folder is not None and path.is_absolute() and path.is_relative_to(folder.resolve()):
        path = Path(os.path.relpath(path, folder.resolve()))
    return _text(str(path))


def _work(work: Work) -> str:
    parts = [f"did: {work.repair}"]
    if work.place is not None:
        parts.append(f"{'cylinder' if isinstance(work.place, int) else 'bank'}: {work.place}")
    parts += [f"with: {work.other}"] if work.other is not None else []
    if work.but:
        parts.append(f"but: {work.but[0] if len(work.but) == 1 else '[' + ', '.join(work.but) + ']'}")
    ago = [f"{counted(_number(work.months_ago)):month|months}"] if work.months_ago is not None else []
    ago += [f"{_unmistakable(work.km_ago)} km"] if work.km_ago is not None else []
    if ago:
        parts.append(f"ago: {ago[0] if len(ago) == 1 else '[' + ', '.join(ago) + ']'}")
    parts += [f"helped: {work.helped.replace('_', ' ')}"] if work.helped is not None else []
    parts += [f"note: {_text(work.note)}"] if work.note else []
    return ", ".join(parts)


def _epoch(epoch: Epoch) -> list[str]:
    """The entries of one epoch: its works, then what was found (also that nothing was, where it might be guessed)."""
    lines: list[str] = []
    for index, work in enumerate(epoch.work):
        parts = _work(work) + (", together: yes" if index else "")
        last = index == len(epoch.work) - 1
        found = _found(epoch, "      ") if last else []
        if last and not epoch.answers and any(each.helped in HELPED_ANSWERS for each in epoch.work):
            found = ["      findings: {}", *found]
        if not found:
            lines.append(f"  - {{{parts}}}")
            continue
        first, *others = re.split(r", (?=(?:cylinder|with|but|bank|ago|helped|note|together): )", parts)
        lines += [f"  - {first}", *(f"    {other}" for other in others), "    then:", *found]
    return lines


def _found(epoch: Epoch, indent: str) -> list[str]:
    """The `findings:` and `readings:` of an epoch."""
    lines: list[str] = []
    if epoch.answers:
        said = [
            (_key(each), each.place, _SAID.get(each.answer, each.answer.replace("_", " "))) for each in epoch.answers
        ]
        lines += _block("findings", said, indent)
    if epoch.measured:
        lines += _block("readings", [(_key(each), each.place, _quantity(each)) for each in epoch.measured], indent)
    lines += [f"{indent}codes: [{', '.join(_code(each) for each in epoch.codes)}]"] if epoch.codes else []
    return lines


def _code(code: CodeRead) -> str:
    """A code with its status byte where that was told, else with its state."""
    return f"{code.code} {code.state.replace('_', ' ') if code.status is None else f'0x{code.status:02X}'}"


def _ledger(codes: Sequence[TrimCode]) -> list[str]:
    """`trim_codes:`, a line a cylinder."""
    lines = []
    for entry in codes:
        told = {key: getattr(entry, key) for key in TRIM_KEYS if getattr(entry, key) is not None}
        inside = ", ".join(f'{key}: "{code}"' if code else f"{key}: {NO_CODE}" for key, code in told.items())
        lines.append(f"  {entry.cylinder}: {{{inside}}}")
    return ["trim_codes:", *lines] if lines else []


def _key(each: Answer | Measured) -> str:
    return f"{each.item} under {each.condition}" if each.condition else each.item


def _quantity(measured: Measured) -> str:
    side = f"{measured.censored} " if measured.censored else ""
    error = f" +/- {_number(measured.error)}" if measured.error is not None else ""
    at = f" at {_number(measured.at)} {measured.at_unit}" if measured.at is not None else ""
    return f"{side}{_unmistakable(measured.value)}{error} {measured.unit}{at}".strip()


def _number(value: float) -> str:
    """A number with every digit that it has, and no others."""
    return str(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(value)


def _unmistakable(value: float) -> str:
    """A number that nobody takes for thousands: 500 miles are 804.6720 km."""
    written = _number(value)
    return f"{written}0" if is_ambiguous(written) else written


def _block(name: str, said: Sequence[tuple[str, int | str | None, str]], indent: str) -> list[str]:
    """One mapping where that keeps the order, else a list of mappings."""
    runs: list[tuple[str, dict[int | str | None, list[str]]]] = []
    for key, place, value in said:
        if not runs or runs[-1][0] != key or (place in runs[-1][1] and place != list(runs[-1][1])[-1]):
            runs.append((key, {}))
        runs[-1][1].setdefault(place, []).append(value)
    keys = [key for key, _ in runs]
    dash = "" if len(set(keys)) == len(keys) else "- "
    return [f"{indent}{name}:", *(f"{indent}  {dash}{key}: {_by_place(places)}" for key, places in runs)]


def _by_place(places: dict[int | str | None, list[str]]) -> str:
    if list(places) == [None]:
        return _values(places[None])
    return f"{{{', '.join(f'{place}: {_values(values)}' for place, values in places.items())}}}"


def _values(values: Iterable[str]) -> str:
    told = list(values)
    return told[0] if len(told) == 1 else f"[{', '.join(told)}]"


def _text(text: str) -> str:
    """Text as it stands where it cannot be read as anything else, else in quotes."""
    if _PLAIN.fullmatch(text) and text.lower() not in _READ_AS_OTHER:
        return text
    escaped = _PRINTABLE.sub(_escape, text)
    return f'"{escaped}"'


def _escape(found: re.Match[str]) -> str:
    code = ord(found.group())
    if found.group() in '"\\':
        return f"\\{found.group()}"
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
