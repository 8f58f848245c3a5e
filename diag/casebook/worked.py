"""Reads the work in a case file: the history before the complaint, and what was tried within the case.

May import: `diag.basics`, `diag.knowledge_base`, and within the room the records, words and findings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.basics import Place, UsageError, counted, did_you_mean
from diag.casebook.cases import Answer, Epoch, Helped, Work
from diag.casebook.codes_read import read_codes
from diag.casebook.edits import findings_after_exchange, symptoms_after
from diag.casebook.found import read_answers, read_measured
from diag.casebook.notebook import Notebook, Path, shown
from diag.casebook.quantities import read_quantity, refuse_thousands
from diag.casebook.words import FAULTS, HELPED, lapses_at, other_fault
from diag.knowledge_base import Key, Scope, Tree, convert

__all__ = ["Vehicle", "check_ago", "read_history", "read_tried"]

_WORK_KEYS = ("did", "cylinder", "with", "bank", "but", "ago", "helped", "note")
_TRIED_KEYS = (*_WORK_KEYS, "fault", "together", "then")
_AGO_HINT = "write for example '4 months' or '12000 km'"
_EXAMPLE = "[{did: reseal, cylinder: 2, ago: 4 months}]"


@dataclass(frozen=True)
class Vehicle:
    """How far the vehicle has gone and how old it is: no work can be longer ago."""

    distance_km: float | None
    age_years: float | None


def read_history(book: Notebook, path: Path, value: Tree, vehicle: Vehicle) -> tuple[Work, ...]:
    """The works of `history:`, in the order of the file."""
    works: list[Work] = []
    for index, entry in enumerate(book.entries(path, value, _EXAMPLE)):
        works += _works(book, (*path, index), entry, _WORK_KEYS, vehicle)
    return tuple(works)


def read_tried(book: Notebook, path: Path, value: Tree, first: Epoch, vehicle: Vehicle) -> tuple[Epoch, ...]:
    """The epochs of a case: `first`, then one for every entry of `tried:` that is not `together` with the one above.

    Where an entry says whether it helped and nothing of what was found then, that speaks of the vehicle's symptoms that
    were present before (see `symptoms_after`). Where two cylinders exchanged something, 'fault: moved' (stayed,
    gone) says the same of the findings by which the fault was known.
    """
    epochs = [first]
    for group in _together(book, path, book.entries(path, value, _EXAMPLE)):
        works: list[Work] = []
        found, told = Epoch(), False
        for at, entry in group:
            works += _works(book, at, entry, _TRIED_KEYS, vehicle)
            if isinstance(entry, dict) and "then" in entry:
                if found != Epoch() or told:
                    message = "what was found after work that was done together stands once"
                    book.complain((*at, "then"), message, "put it all under one 'then:'", of_key=True)
                found, told = _then(book, (*at, "then"), entry["then"])
        _check_helped(book, group[-1][0], works)
        moved = _moved(book, group, epochs, works, told)
        answers = found.answers if told else (moved or symptoms_after(book.knowledge, epochs, works))
        epochs.append(Epoch(tuple(works), answers, found.measured, found.codes))
    return tuple(epochs)


def _together(book: Notebook, path: Path, entries: Sequence[Tree]) -> list[list[tuple[Path, Tree]]]:
    """Entries of one visit in one group."""
    groups: list[list[tuple[Path, Tree]]] = []
    for index, entry in enumerate(entries):
        at = (*path, index)
        joined = isinstance(entry, dict) and _yes(book, (*at, "together"), entry.get("together"))
        if joined and groups:
            groups[-1].append((at, entry))
            continue
        if joined:
            message = "nothing stands above that this could be done together with"
            book.complain((*at, "together"), message, "leave 'together' out", of_key=True)
        groups.append([(at, entry)])
    return groups


def _moved(
    book: Notebook, group: Sequence[tuple[Path, Tree]], epochs: Sequence[Epoch], works: Sequence[Work], told: bool
) -> tuple[Answer, ...]:
    """What 'fault: moved' says in findings; nothing where it was not said."""
    exchanges = [work for work in works if work.other is not None]
    for at, entry in group:
        if not isinstance(entry, dict) or "fault" not in entry:
            continue
        path, value = (*at, "fault"), entry["fault"]
        word = " ".join(value.lower().split()) if isinstance(value, str) else ""
        if word not in FAULTS:
            book.complain(path, f"{shown(value)} does not say what became of the fault", did_you_mean(word, FAULTS))
        elif len(exchanges) != 1 or len(works) != 1:
            if not book.problems:
                hint = "write what was found under 'then:'"
                book.complain(path, "this can be said only of one exchange between two cylinders", hint, of_key=True)
        elif told:
            book.complain(path, "what was found stands under 'then:' already", "leave one of the two out", of_key=True)
        else:
            found = findings_after_exchange(book.knowledge, epochs, exchanges[0], FAULTS[word])
            if not found:
                two = f"{exchanges[0].place} or {exchanges[0].other}"
                hint = (
                    f"add to 'findings:' by what it is known, such as 'weak_cutout: {{{exchanges[0].place}: present}}'"
                )
                book.complain(path, f"nothing was told by which the fault is known to sit on cylinder {two}", hint)
            return found
    return ()


def _then(book: Notebook, path: Path, value: Tree) -> tuple[Epoch, bool]:
    """What was found after the work, and whether anything was told of findings."""
    block = book.mapping(path, value, "then: {findings: {rough_idle: absent}}")
    book.unknown_keys(path, block, ("findings", "codes", "other_codes", "readings"))
    answers = read_answers(book, path, block)
    measured = read_measured(book, (*path, "readings"), block.get("readings"))
    codes = read_codes(book, (*path, "codes"), block.get("codes"))
    return Epoch((), answers, measured, codes), any(key in block for key in ("findings", "codes", "other_codes"))


def _yes(book: Notebook, path: Path, value: Tree) -> bool:
    if value not in (None, True, False, "yes", "no"):
        book.complain(path, f"this should be yes or no, and is {shown(value)}")
    return value in (True, "yes")


def _check_helped(book: Notebook, path: Path, works: Sequence[Work]) -> None:
    told = {work.helped for work in works if work.helped is not None}
    if len(told) > 1:
        words = " and ".join(sorted(f"'{word.replace('_', ' ')}'" for word in told))
        message = f"work that was done together helped {words}"
        book.complain((*path, "helped"), message, "it can only be said of all together", of_key=True)


def _works(book: Notebook, path: Path, entry: Tree, keys: Sequence[str], vehicle: Vehicle) -> list[Work]:
    """Every work of one entry: each of its repairs on each of its places."""
    if isinstance(entry, str):
        entry, did_at = {"did": entry}, path
    else:
        did_at = (*path, "did")
    if not isinstance(entry, dict):
        book.complain(path, f"this should be work, and is {shown(entry)}", f"write '{_EXAMPLE[1:-1]}'")
        return []
    book.unknown_keys(path, entry, keys)
    if "did" not in entry:
        book.complain(path, "this does not say what was done", "add 'did:' with a repair")
        return []
    km_ago, months_ago = _ago(book, (*path, "ago"), entry.get("ago"), vehicle)
    helped = _helped(book, (*path, "helped"), entry.get("helped"))
    note = book.text((*path, "note"), entry.get("note"))
    repairs = _repairs(book, did_at, entry["did"])
    but = _lapses(book, (*path, "but"), entry.get("but"), repairs)
    places = _places(book, path, entry, [book.knowledge.repairs[repair].on for repair in repairs])
    found = []
    for repair in repairs:
        here, other = places[book.knowledge.repairs[repair].on], _other(book, path, entry)
        if book.knowledge.repairs[repair].moves and len(here) == 2 and "with" not in entry:
            here, other = here[:1], here[1]  # 'cylinder: [2, 3]' says it as well
        if not _check_other(book, path, entry, repair, here, other):
            continue
        found += [
            Work(repair, place, km_ago, months_ago, helped, note, other if isinstance(other, int) else None, but)
            for place in here
        ]
    return found


def _lapses(book: Notebook, path: Path, value: Tree, repairs: Sequence[str]) -> tuple[str, ...]:
    """What was left undone: lapses of the components that the work touches, by id or name."""
    fitting = lapses_at(book.knowledge, repairs)
    words = {spaced: lapse for lapse, name in fitting.items() for spaced in (lapse.replace("_", " "), name.lower())}
    found = []
    for index, written in enumerate(value if isinstance(value, list) else [value] if value is not None else []):
        word = " ".join(str(written).replace("_", " ").lower().split())
        if word in words:
            found.append(words[word])
        elif repairs:
            at = (*path, index) if isinstance(value, list) else path
            hint = did_you_mean(word, words, most=8) if words else "leave 'but' out"
            book.complain(at, f"{shown(written)} is nothing that can be left undone at this work", hint)
    return tuple(dict.fromkeys(found))


def _other(book: Notebook, path: Path, entry: dict[Key, Tree]) -> Place:
    """The cylinder after 'with:'; none where none stands there, or it is none of the engine's (then it is noted)."""
    return book.place((*path, "with"), entry["with"], "cylinder", "write 'with: 3'") if "with" in entry else None


def _check_other(
    book: Notebook, path: Path, entry: dict[Key, Tree], repair: str, places: Sequence[Place], other: Place
) -> bool:
    """Note one problem where the second cylinder of a work does not fit; whether it does."""
    known = book.knowledge.repairs[repair]
    at, of_key = ((*path, "with"), not known.moves) if "with" in entry else (path, False)
    if book.engine is None or ("with" in entry and other is None) or (known.moves and not places):
        return not known.moves
    if known.moves and len(places) > 1:
        message = "an exchange is made between two cylinders"
        book.complain((*path, "cylinder"), message, f"write 'cylinder: {places[0]}, with: {places[1]}'")
        return False
    second = other if isinstance(other, int) else None
    fault = other_fault(book.engine, known, places[0] if places else None, second)
    if fault is not None:
        book.complain(at, *fault, of_key)
    return fault is None


def _repairs(book: Notebook, path: Path, value: Tree) -> list[str]:
    names = value if isinstance(value, list) else [value]
    found = []
    for index, name in enumerate(names):
        at = (*path, index) if isinstance(value, list) else path
        repair = book.known(at, name, "repair", book.knowledge.repairs)
        found += [repair] if repair is not None else []
    return found


def _places(book: Notebook, path: Path, entry: dict[Key, Tree], scopes: Sequence[Scope]) -> dict[Scope, list[Place]]:
    """The places of the work, by what the repairs are done on."""
    places: dict[Scope, list[Place]] = {"vehicle": [None], "cylinder": [], "bank": []}
    words: tuple[Scope, ...] = ("cylinder", "bank")
    for scope in words:
        at = (*path, scope)
        if scope in entry and scopes and scope not in scopes:
            message = f"this work is not done on a {scope}"
            book.complain(at, message, f"leave '{scope}' out" if "vehicle" in scopes else f"write '{scopes[0]}:'", True)
        elif scope in entry:
            places[scope] = _listed_places(book, at, entry[scope], scope)
        elif scope in scopes:
            example = "cylinder: 3" if scope == "cylinder" else "bank: A"
            book.complain(path, f"this work is done on a {scope}, and does not say which", f"add '{example}'")
    return places


def _listed_places(book: Notebook, path: Path, value: Tree, scope: Scope) -> list[Place]:
    if value == "all":
        return [*book.every_place(scope)]
    hint = f"write '{scope}: {3 if scope == 'cylinder' else 'A'}'"
    if not isinstance(value, list):
        places = [book.place(path, value, scope, hint)]
    else:
        places = [book.place((*path, index), written, scope, hint) for index, written in enumerate(value)]
    return [place for place in places if place is not None]


def _helped(book: Notebook, path: Path, value: Tree) -> Helped | None:
    if value is None:
        return None
    word = " ".join(value.lower().split()) if isinstance(value, str) else ""
    if word not in HELPED:
        words = ("no", "same", "better", "partly", "yes", "worse", "other", "for a while")
        book.complain(path, f"{shown(value)} does not say whether it helped", did_you_mean(word, words, most=8))
        return None
    return HELPED[word]


def _ago(book: Notebook, path: Path, value: Tree, vehicle: Vehicle) -> tuple[float | None, float | None]:
    """Kilometres and months ago; `4 months`, `12000 km`, or both with a comma or as a list."""
    km: float | None = None
    months: float | None = None
    if value is None:
        return None, None
    for part in value if isinstance(value, list) else str(value).split(","):
        amount = _amount(book, path, str(part).strip())
        if amount is None:
            continue
        km, months = (amount[0] if km is None else km), (amount[1] if months is None else months)
    check_ago(book, path, km, months, vehicle)
    return km, months


def check_ago(book: Notebook, path: Path, km: float | None, months: float | None, vehicle: Vehicle) -> None:
    """Note where work is told of that is longer ago than the vehicle has run, or than it is old."""
    if km is not None and vehicle.distance_km is not None and km > vehicle.distance_km:
        message = f"{km:g} km ago is before the vehicle had run at all"
        book.complain(path, message, f"it has run {vehicle.distance_km:g} km")
    if months is not None and vehicle.age_years is not None and months > 12 * vehicle.age_years + 1e-9:
        told = counted(float(f"{months:.3g}"))  # '500 days' is no whole number of months
        message = f"{told:month|months} ago the vehicle did not exist"
        book.complain(path, message, f"it is {counted(vehicle.age_years):year|years} old")


def _amount(book: Notebook, path: Path, text: str) -> tuple[float | None, float | None] | None:
    """One amount of kilometres, or of months; none, and a problem, where it is neither."""
    try:
        quantity = read_quantity(text, examples="'4 months' or '12000 km'")
        if not quantity.unit or quantity.censored or quantity.value < 0:
            raise UsageError(f"'{text}' does not say how long ago; {_AGO_HINT}")
        for unit in ("km", "months"):
            try:
                value = convert(quantity.value, quantity.unit, unit)
            except UsageError:
                continue
            if unit == "km":
                refuse_thousands(text)
            return (value, None) if unit == "km" else (None, value)
        raise UsageError(f"'{quantity.unit}' is no unit of time or distance; {_AGO_HINT}")
    except UsageError as error:
        message, _, hint = error.message.partition("; ")
        book.complain(path, message, hint)
        return None
